// SPDX-License-Identifier: Apache-2.0
#include "serve/page.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>

#include "support/command.h"

namespace plumbfoot::serve {

namespace fs = std::filesystem;
using nlohmann::json;

fs::path FreshFolder(const std::string& name) {
  fs::path folder = fs::path(testing::TempDir()) /
                    ("plumbfoot-" + std::to_string(getpid()) + "-" + name);
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

void WriteFile(const fs::path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

fs::path Photos() {
  return PLUMBFOOT_PAIR;
}

Measured MeasurePair(const fs::path& points, const fs::path& folder) {
  const auto result = tests::RunCommand(
      {PLUMBFOOT_COMMAND,
       "measure",
       "--foot",
       "LF",
       "--solar",
       (Photos() / "solar.jpg").string(),
       "--lateral",
       (Photos() / "lateral.jpg").string(),
       "--points",
       points.string(),
       "--out",
       (folder / "measured").string()},
      {{"PLUMBFOOT_SETTINGS", (folder / "none.json").string()}});
  EXPECT_TRUE(result.status == 0 || result.status == 3) << result.err;
  return {result.out, folder / "measured" / "report.json"};
}

Page::Page(const fs::path& folder) : folder_(folder) {
  auto book = casebook::OpenCasebook(folder);
  if (!book) book = casebook::MakeCasebook(folder);
  site_ = std::make_unique<Site>(*book, TestOptions(kHost));
  Request in;
  in.method = "GET";
  in.path = "/";
  in.query["code"] = site_->Code();
  in.headers["host"] = kHost;
  const Response answer = site_->Answer(in);
  for (const auto& [name, value] : answer.headers) {
    if (name == "Set-Cookie") cookie_ = value.substr(0, value.find(';'));
  }
}

Request Page::MakeGet(const std::string& path) const {
  Request request;
  request.method = "GET";
  request.path = path.substr(0, path.find('?'));
  request.headers = {{"host", kHost}, {"cookie", cookie_}};
  return request;
}

Request Page::MakePost(const std::string& path, const std::string& body) const {
  Request request = MakeGet(path);
  request.method = "POST";
  request.headers["origin"] = std::string("http://") + kHost;
  request.headers["content-type"] = "application/json";
  request.body = body;
  return request;
}

Response Page::Get(const std::string& path) {
  return site_->Answer(MakeGet(path));
}

Response Page::Post(const std::string& path, const json& what) {
  return site_->Answer(MakePost(path, what.dump()));
}

Response Page::Upload(const std::string& visit,
                      const std::string& name,
                      const std::string& bytes) {
  Request request = MakePost("/api/visits/" + visit + "/photos", bytes);
  request.query["name"] = name;
  request.headers["content-type"] = "application/octet-stream";
  return site_->Answer(request);
}

json Page::Got(const std::string& path, int status) {
  const Response answer = Get(path);
  EXPECT_EQ(answer.status, status) << path << ": " << answer.body;
  return json::parse(answer.body, nullptr, false);
}

json Page::Posted(const std::string& path, const json& what, int status) {
  const Response answer = Post(path, what);
  EXPECT_EQ(answer.status, status) << path << ": " << answer.body;
  return json::parse(answer.body, nullptr, false);
}

std::string Page::BeginWithPair() {
  const json visit = Posted(
      "/api/visits", {{"horse", "Bramble"}, {"date", "2026-03-14"}}, 201);
  std::string id = visit["id"];
  for (const char* view : {"solar", "lateral"}) {
    const Response answer =
        Upload(id,
               std::string("LF-") + view + "-before.jpg",
               ReadFile(Photos() / (std::string(view) + ".jpg")));
    EXPECT_EQ(answer.status, 201) << answer.body;
  }
  return id;
}

}  // namespace plumbfoot::serve
