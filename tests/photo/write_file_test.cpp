// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/write_file.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

fs::path EmptyFolder(const std::string& name) {
  fs::path folder = fs::path(testing::TempDir()) / name;
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

std::string ReadAll(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

auto FilesIn(const fs::path& folder) {
  return std::distance(fs::directory_iterator(folder),
                       fs::directory_iterator());
}

TEST(WriteWhole, WritesEveryByteAndReplaces) {
  const fs::path folder = EmptyFolder("write_whole");
  const std::string first(100'000, 'a');
  const std::string second("\0b\n", 3);
  ASSERT_TRUE(WriteWhole(folder / "f.bin", first));
  EXPECT_EQ(ReadAll(folder / "f.bin"), first);
  ASSERT_TRUE(WriteWhole(folder / "f.bin", second));
  EXPECT_EQ(ReadAll(folder / "f.bin"), second);
  EXPECT_EQ(FilesIn(folder), 1);
}

TEST(WriteWhole, RefusesAFolderThatIsNone) {
  const fs::path folder = EmptyFolder("write_whole_no_folder");
  ASSERT_TRUE(WriteWhole(folder / "file", "x"));
  for (const fs::path& path : {folder / "file" / "f.pdf",
                               folder / "missing" / "f.pdf",
                               fs::path("/proc/f.pdf"),
                               fs::path("/dev/full/f.pdf")}) {
    const auto result = WriteWhole(path, "y");
    ASSERT_FALSE(result) << path;
    EXPECT_EQ(result.error().code, RefusalCode::kCannotWrite);
    EXPECT_NE(result.error().message.find(path.string()), std::string::npos);
  }
  EXPECT_EQ(FilesIn(folder), 1);
  EXPECT_EQ(ReadAll(folder / "file"), "x");
}

TEST(WriteWhole, LeavesWhatIsNotAFileAlone) {
  const fs::path folder = EmptyFolder("write_whole_not_a_file");
  fs::create_directory(folder / "sub");
  EXPECT_FALSE(WriteWhole(folder / "sub", "x"));
  EXPECT_TRUE(fs::is_directory(folder / "sub"));
  EXPECT_EQ(FilesIn(folder), 1);
  EXPECT_FALSE(WriteWhole("/dev/null", "x"));
  EXPECT_TRUE(fs::is_character_file("/dev/null"));
}

}  // namespace
}  // namespace plumbfoot::photo
