// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/drawn_photo.h"

#include <stdexcept>

#include "plumbfoot/draw/annotate.h"

namespace plumbfoot::report {

cv::Mat DrawnPhoto(const MeasuredFoot& foot, View view) {
  const bool solar = view == View::kSolar;
  const FootReport& report = foot.report;
  const auto& measured = solar ? report.solar : report.lateral;
  const auto& read = solar ? foot.solar : foot.lateral;
  if (!measured || !read) {
    throw std::invalid_argument("DrawnPhoto: no photo of that view");
  }
  draw::Caption caption;
  caption.foot = geometry::FootWords(report.foot);
  caption.horse = report.horse.value_or("");
  caption.date = report.date.value_or("");
  if (report.stage != Stage::kOther) {
    caption.stage = geometry::StageWords(report.stage);
  }
  if (report.shod)
    caption.lines.emplace_back("Shod: the ground is the shoe's.");
  draw::AnnotateOptions options;
  options.plane = read->plane;
  return draw::DrawAnnotated(read->photo,
                             measured->points,
                             measured->measures,
                             caption,
                             options)
      .rgb;
}

}  // namespace plumbfoot::report
