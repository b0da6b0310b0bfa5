// SPDX-License-Identifier: Apache-2.0
#include "serve/anvil.h"

#include <algorithm>
#include <cstdlib>
#include <functional>
#include <utility>
#include <vector>

#include "plumbfoot/report/foot_fit.h"
#include "plumbfoot/report/saved_report.h"
#include "plumbfoot/serve/site.h"
#include "serve/answers.h"

namespace plumbfoot::serve {
namespace {

using nlohmann::json;

/// A number of the query, where it is asked for.
struct Slider {
  const char* name;
  double low;
  double high;
  std::function<void(report::FitOptions&, double)> set;
};

/// The ranges are those of `plumbfoot fit`.
const std::vector<Slider>& Sliders() {
  static const std::vector<Slider> sliders = {
      {"web", 6, 60, [](auto& o, double mm) { o.shoe.web_mm = mm; }},
      {"thickness",
       3,
       30,
       [](auto& o, double mm) { o.shoe.thickness_mm = mm; }},
      {"fullness", 0, 15, [](auto& o, double mm) { o.shoe.fullness_mm = mm; }},
      {"toe_angle",
       30,
       80,
       [](auto& o, double deg) {
         o.trim.target = fit::Target{fit::TargetKind::kToeAngle, deg};
       }},
      {"whole", 0, 1, [](auto& o, double yes) {
         o.trim.whole_at_once = yes > 0;
       }}};
  return sliders;
}

Result<report::FootFit> FitAsked(const json& report, const Request& request) {
  report::FitOptions options;
  for (const Slider& slider : Sliders()) {
    const std::string text = request.asked(slider.name);
    if (text.empty()) continue;
    char* end = nullptr;
    const double value = std::strtod(text.c_str(), &end);
    // Written so that nan is out of range.
    if (*end != '\0' || !(value >= slider.low && value <= slider.high)) {
      return Refusal{RefusalCode::kUsage,
                     std::string(slider.name) + " is out of range.",
                     "Move the slider and try again."};
    }
    slider.set(options, value);
  }
  auto saved = report::ReadReport(report);
  if (!saved) return saved.error();
  return report::FitFoot(std::move(*saved), options);
}

const char* TypeOf(const std::string& name) {
  if (name.ends_with(".pdf")) return "application/pdf";
  if (name.ends_with(".svg")) return "image/svg+xml";
  if (name.ends_with(".dxf")) return "image/vnd.dxf";
  return "application/json";
}

}  // namespace

Response ShowFit(const json& report, const Request& request) {
  auto fit = FitAsked(report, request);
  if (!fit) return Refused(fit.error());
  json whole = report::ToJson({std::move(*fit), std::nullopt});
  return Json({{"fit", std::move(whole["feet"][0])}});
}

Response FitFile(const json& report,
                 const Request& request,
                 const std::string& name,
                 report::Desk& desk) {
  auto fit = FitAsked(report, request);
  if (!fit) return Refused(fit.error());
  std::vector<photo::NamedBytes> files;
  desk.Hand([&] { files = report::FitFiles({std::move(*fit), std::nullopt}); });
  const auto file =
      std::find_if(files.begin(), files.end(), [&](const auto& one) {
        return one.name == name;
      });
  if (file == files.end()) return Refused(404, "There is no such file.");
  Response response;
  response.type = TypeOf(name);
  response.body = std::move(file->bytes);
  response.headers.emplace_back("Content-Disposition",
                                "attachment; filename=\"" + file->name + "\"");
  return response;
}

}  // namespace plumbfoot::serve
