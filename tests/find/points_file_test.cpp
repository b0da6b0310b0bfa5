// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/find/points_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <string>

namespace plumbfoot::find {
namespace {

using testing::HasSubstr;

std::string Solar(const std::string& inside) {
  return R"({"format": "plumbfoot-points", "version": 1, "solar": {)" + inside +
         "}}";
}

std::string Lateral(const std::string& inside) {
  return R"({"format": "plumbfoot-points", "version": 1, "lateral": {)" +
         inside + "}}";
}

std::optional<RefusalCode> CodeOf(const std::string& text) {
  const auto file = ParsePoints(text);
  if (file) return std::nullopt;
  EXPECT_FALSE(file.error().message.empty());
  EXPECT_FALSE(file.error().remedy.empty());
  return file.error().code;
}

TEST(PointsFile, KeepsPlacedHiddenAndLeftOutApart) {
  const auto file =
      ParsePoints(Solar(R"("toe": [10.25, 20.5], "frog_apex": null)"));
  ASSERT_TRUE(file);
  ASSERT_TRUE(file->solar);
  EXPECT_FALSE(file->lateral);
  const ViewPoints& points = *file->solar;
  ASSERT_TRUE(points.at(PointId::kToe));
  EXPECT_EQ(points.at(PointId::kToe)->px.x, 10.25);
  EXPECT_EQ(points.at(PointId::kToe)->px.y, 20.5);
  EXPECT_EQ(points.at(PointId::kToe)->placed_by, PlacedBy::kPerson);
  EXPECT_EQ(points.at(PointId::kToe)->confidence, 1.0);
  EXPECT_FALSE(points.is_hidden(PointId::kToe));
  EXPECT_TRUE(points.is_hidden(PointId::kFrogApex));
  EXPECT_FALSE(points.at(PointId::kFrogApex));
  EXPECT_FALSE(points.is_hidden(PointId::kHeelLeft));
  EXPECT_FALSE(points.at(PointId::kHeelLeft));
}

TEST(PointsFile, KeepsTheEdgesOfAShoeFromTheSide) {
  const std::string corners =
      "[[10, 50], [20, 51], [30, 52], [40, 53], [50, 54], [60, 54], [70, 53], "
      "[80, 52]]";
  const auto file = ParsePoints(
      Lateral(R"("shoe_ground": )" + corners + R"(, "horn_edge": )" + corners));
  ASSERT_TRUE(file);
  ASSERT_TRUE(file->lateral->shoe_ground);
  EXPECT_EQ(file->lateral->shoe_ground->px.size(), 8U);
  EXPECT_EQ(file->lateral->shoe_ground->placed_by, PlacedBy::kPerson);
  EXPECT_FALSE(file->lateral->shoe_foot);
  ASSERT_TRUE(file->lateral->horn_edge);
  EXPECT_EQ(ParsePoints(WritePoints(*file))->lateral->shoe_ground->px,
            file->lateral->shoe_ground->px);
  EXPECT_EQ(CheckInside(*file->lateral, {75, 100}).error().code,
            RefusalCode::kPointOutsidePhoto);
  EXPECT_EQ(CodeOf(Lateral(R"("shoe_ground": [[1, 2], [3, 4]])")),
            RefusalCode::kTooFewPoints);
  // Of a sole there is none.
  EXPECT_EQ(CodeOf(Solar(R"("shoe_ground": )" + corners)),
            RefusalCode::kUnknownPoint);
}

TEST(PointsFile, ReadsTheHeelsPlane) {
  EXPECT_EQ(ParsePoints(Lateral(R"("heels_on": "near")"))->lateral->heel_plane,
            geometry::HeelPlane::kNear);
  EXPECT_EQ(
      ParsePoints(Lateral(R"("heels_on": "middle")"))->lateral->heel_plane,
      geometry::HeelPlane::kMiddle);
  EXPECT_EQ(ParsePoints(Lateral(""))->lateral->heel_plane,
            geometry::HeelPlane::kMiddle);
}

TEST(PointsFile, ReadsBackWhatItWrote) {
  PointsFile out;
  out.solar = ViewPoints{};
  out.solar->view = View::kSolar;
  out.solar->hidden[static_cast<std::size_t>(PointId::kFrogLeft)] = true;
  out.solar->at(PointId::kToe) =
      geometry::PlacedPoint{{1234.5678, 0.004}, {}, PlacedBy::kFinder, 0.7};
  geometry::PlacedCurve outline;
  for (int i = 0; i < 40; ++i) {
    outline.px.push_back(
        {500 + 300 * std::cos(i * 0.157), 400 + 300 * std::sin(i * 0.157)});
  }
  out.solar->outline = outline;
  out.lateral = ViewPoints{};
  out.lateral->view = View::kLateral;
  out.lateral->heel_plane = geometry::HeelPlane::kNear;
  out.lateral->at(PointId::kHeelGround) =
      geometry::PlacedPoint{{3999.996, 2999.99}, {}, PlacedBy::kPerson, 1};
  out.lateral->dorsal_wall = geometry::PlacedCurve{
      {{10.111, 20.222}, {30.333, 40.444}}, 0, 0, PlacedBy::kPerson, 1};

  const auto in = ParsePoints(WritePoints(out));
  ASSERT_TRUE(in) << in.error().message;
  EXPECT_NEAR(in->solar->at(PointId::kToe)->px.x, 1234.5678, 0.01);
  EXPECT_NEAR(in->solar->at(PointId::kToe)->px.y, 0.004, 0.01);
  EXPECT_TRUE(in->solar->is_hidden(PointId::kFrogLeft));
  ASSERT_EQ(in->solar->outline->px.size(), outline.px.size());
  for (std::size_t i = 0; i < outline.px.size(); ++i) {
    EXPECT_LT(Distance(in->solar->outline->px[i], outline.px[i]), 0.01);
  }
  EXPECT_EQ(in->lateral->heel_plane, geometry::HeelPlane::kNear);
  EXPECT_NEAR(in->lateral->at(PointId::kHeelGround)->px.x, 3999.996, 0.01);
  EXPECT_EQ(in->lateral->dorsal_wall->px.size(), 2U);
  // Hundredths written, hundredths read: the second time nothing moves.
  EXPECT_EQ(WritePoints(*in), WritePoints(*ParsePoints(WritePoints(*in))));
}

TEST(PointsFile, ClosesAnOutlineOnce) {
  std::string corners;
  for (int i = 0; i < 8; ++i) {
    corners += "[" + std::to_string(i * i) + ", " + std::to_string(i) + "], ";
  }
  const auto file = ParsePoints(Solar("\"outline\": [" + corners + "[0, 0]]"));
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_EQ(file->solar->outline->px.size(), 8U);
}

TEST(PointsFile, RefusesWhatIsNotJson) {
  EXPECT_EQ(CodeOf(""), RefusalCode::kNotJson);
  EXPECT_EQ(CodeOf("toe: 3, 4"), RefusalCode::kNotJson);
  EXPECT_EQ(CodeOf(Solar("\"toe\": [1, 2]").substr(0, 60)),
            RefusalCode::kNotJson);
}

TEST(PointsFile, RefusesNaNAndInfinity) {
  for (const char* bad :
       {"NaN", "Infinity", "-Infinity", "nan", "1e", "0x10"}) {
    SCOPED_TRACE(bad);
    EXPECT_EQ(CodeOf(Solar("\"toe\": [" + std::string(bad) + ", 4]")),
              RefusalCode::kNotJson);
  }
  EXPECT_EQ(CodeOf(Solar("\"toe\": [1e999, 4]")), RefusalCode::kBadNumber);
  EXPECT_EQ(CodeOf(Solar("\"toe\": [1e300, 4]")), RefusalCode::kBadNumber);
}

TEST(PointsFile, RefusesWhatIsNotAPair) {
  for (const char* bad : {"3",
                          "[1]",
                          "[1, 2, 3]",
                          "[]",
                          "\"1, 2\"",
                          "[\"1\", 2]",
                          "[1, \"2\"]",
                          "[null, 2]",
                          "[true, 2]",
                          "{\"x\": 1, \"y\": 2}",
                          "[[1, 2]]"}) {
    SCOPED_TRACE(bad);
    EXPECT_EQ(CodeOf(Solar("\"toe\": " + std::string(bad))),
              RefusalCode::kBadNumber);
  }
  EXPECT_EQ(CodeOf(Lateral(R"("dorsal_wall": [[1, 2], [3]])")),
            RefusalCode::kBadNumber);
  EXPECT_EQ(CodeOf(Lateral(R"("dorsal_wall": 7)")), RefusalCode::kBadNumber);
}

TEST(PointsFile, RefusesAnotherViewsPointAndNamesTheRightOnes) {
  const auto file = ParsePoints(Solar(R"("toe_ground": [1, 2])"));
  ASSERT_FALSE(file);
  EXPECT_EQ(file.error().code, RefusalCode::kUnknownPoint);
  EXPECT_THAT(file.error().message, HasSubstr("toe_ground"));
  EXPECT_THAT(file.error().remedy, HasSubstr("frog_apex"));
  EXPECT_THAT(file.error().remedy, HasSubstr("outline"));
  EXPECT_EQ(CodeOf(Lateral(R"("outline": [[1, 2]])")),
            RefusalCode::kUnknownPoint);
  EXPECT_EQ(CodeOf(Solar(R"("heels_on": "near")")), RefusalCode::kUnknownPoint);
  EXPECT_EQ(
      CodeOf(R"({"format": "plumbfoot-points", "version": 1, "sole": {}})"),
      RefusalCode::kUnknownPoint);
}

TEST(PointsFile, RefusesLinesThatAreTooShort) {
  EXPECT_EQ(CodeOf(Solar(R"("outline": [[1,2],[3,4],[5,7]])")),
            RefusalCode::kTooFewPoints);
  EXPECT_EQ(CodeOf(Lateral(R"("dorsal_wall": [[1,2]])")),
            RefusalCode::kTooFewPoints);
  EXPECT_EQ(CodeOf(Lateral(R"("dorsal_wall": [[1,2], [1,2]])")),
            RefusalCode::kTooFewPoints);
}

TEST(PointsFile, RefusesAnotherFormatOrVersion) {
  EXPECT_EQ(CodeOf("[]"), RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf("{}"), RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf(R"({"format": "points", "version": 1})"),
            RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf(R"({"format": "plumbfoot-points"})"),
            RefusalCode::kVersionUnknown);
  EXPECT_EQ(CodeOf(R"({"format": "plumbfoot-points", "version": 2})"),
            RefusalCode::kVersionUnknown);
  EXPECT_EQ(CodeOf(R"({"format": "plumbfoot-points", "version": "1"})"),
            RefusalCode::kVersionUnknown);
  EXPECT_EQ(
      CodeOf(R"({"format": "plumbfoot-points", "version": 1, "solar": []})"),
      RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf(Lateral(R"("heels_on": "far")")),
            RefusalCode::kNotOurFormat);
}

TEST(PointsFile, RefusesAMissingFileAndAFolder) {
  const std::filesystem::path folder(testing::TempDir());
  const auto missing = LoadPoints(folder / "there_is_none.json");
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().code, RefusalCode::kFileMissing);
  const auto not_a_file = LoadPoints(folder);
  ASSERT_FALSE(not_a_file);
  EXPECT_EQ(not_a_file.error().code, RefusalCode::kCannotRead);
}

TEST(PointsFile, LoadsFromDisk) {
  const auto path =
      std::filesystem::path(testing::TempDir()) / "plumbfoot_points.json";
  std::ofstream(path) << Solar(R"("toe": [1, 2])");
  const auto file = LoadPoints(path);
  std::filesystem::remove(path);
  ASSERT_TRUE(file);
  EXPECT_TRUE(file->solar->at(PointId::kToe));
}

TEST(PointsFile, RefusesPointsOutsideThePhoto) {
  const cv::Size size(400, 300);
  const auto check = [&](const std::string& text) {
    const auto file = ParsePoints(text);
    const auto inside =
        CheckInside(file->solar ? *file->solar : *file->lateral, size);
    return inside ? std::optional<RefusalCode>() : inside.error().code;
  };
  EXPECT_EQ(check(Solar(R"("toe": [0, 300])")), std::nullopt);
  EXPECT_EQ(check(Solar(R"("toe": [-0.5, 3])")),
            RefusalCode::kPointOutsidePhoto);
  EXPECT_EQ(check(Solar(R"("toe": [3, 300.5])")),
            RefusalCode::kPointOutsidePhoto);
  EXPECT_EQ(check(Lateral(R"("dorsal_wall": [[1,2],[401,2]])")),
            RefusalCode::kPointOutsidePhoto);
}

TEST(PersonSigma, IsTheWiderOfAFingerAndHalfAMillimetre) {
  EXPECT_DOUBLE_EQ(PersonSigmaPx({3000, 4000}, std::nullopt), 4000 / 1500.0);
  EXPECT_DOUBLE_EQ(PersonSigmaPx({3000, 4000}, 10.0), 5.0);
  EXPECT_DOUBLE_EQ(PersonSigmaPx({3000, 4000}, 2.0), 4000 / 1500.0);
}

}  // namespace
}  // namespace plumbfoot::find
