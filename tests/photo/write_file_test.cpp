// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/write_file.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "plumbfoot/photo/read_file.h"

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

TEST(WriteSet, MakesTheFolderAndWritesEveryFile) {
  const fs::path folder = EmptyFolder("write_set") / "new" / "deep";
  const auto paths = WriteSet(folder, {{"a.txt", "first"}, {"b.txt", ""}});
  ASSERT_TRUE(paths) << paths.error().message;
  EXPECT_EQ(*paths, (std::vector{folder / "a.txt", folder / "b.txt"}));
  EXPECT_EQ(ReadAll(folder / "a.txt"), "first");
  EXPECT_EQ(ReadAll(folder / "b.txt"), "");
  EXPECT_EQ(FilesIn(folder), 2);
}

// Whichever file of the set it is that can't be written.
TEST(WriteSet, LeavesWhatWasThereWhereOneFileFails) {
  for (const int bad : {0, 1, 2}) {
    SCOPED_TRACE(bad);
    const fs::path folder = EmptyFolder("write_set_one_fails");
    std::vector<NamedBytes> files = {
        {"a.txt", "new"}, {"b.txt", "new"}, {"c.txt", "new"}};
    for (int i = 0; i < 3; ++i) {
      const NamedBytes& file = files[static_cast<std::size_t>(i)];
      if (i == bad) {
        fs::create_directory(folder / file.name);
      } else {
        std::ofstream(folder / file.name) << "old";
      }
    }
    const auto paths = WriteSet(folder, files);
    ASSERT_FALSE(paths);
    EXPECT_EQ(paths.error().code, RefusalCode::kCannotWrite);
    EXPECT_EQ(FilesIn(folder), 3);
    for (int i = 0; i < 3; ++i) {
      const fs::path path = folder / files[static_cast<std::size_t>(i)].name;
      EXPECT_EQ(fs::is_directory(path) ? "old" : ReadAll(path), "old");
    }
  }
}

TEST(WriteSet, RefusesAFolderThatIsAFile) {
  const fs::path folder = EmptyFolder("write_set_file");
  std::ofstream(folder / "taken") << "x";
  const auto paths = WriteSet(folder / "taken", {{"a.txt", "y"}});
  ASSERT_FALSE(paths);
  EXPECT_EQ(paths.error().code, RefusalCode::kCannotWrite);
  EXPECT_EQ(ReadAll(folder / "taken"), "x");
}

TEST(MakeFolders, MakesAllThatAreMissing) {
  const fs::path folder = EmptyFolder("make_folders");
  ASSERT_TRUE(MakeFolders(folder / "a" / "b" / "c"));
  EXPECT_TRUE(fs::is_directory(folder / "a" / "b" / "c"));
  EXPECT_TRUE(MakeFolders(folder / "a" / "b" / "c"));
  std::ofstream(folder / "file") << "x";
  EXPECT_EQ(MakeFolders(folder / "file" / "d").error().code,
            RefusalCode::kCannotWrite);
}

TEST(MoveInto, ReplacesAFileButNoFolder) {
  const fs::path folder = EmptyFolder("move_into");
  std::ofstream(folder / "new") << "new";
  std::ofstream(folder / "old") << "old";
  ASSERT_TRUE(MoveInto(folder / "new", folder / "old"));
  EXPECT_EQ(ReadAll(folder / "old"), "new");
  EXPECT_EQ(FilesIn(folder), 1);
  for (const char* name : {"one", "two"}) {
    fs::create_directory(folder / name);
    std::ofstream(folder / name / "f") << name;
  }
  EXPECT_EQ(MoveInto(folder / "one", folder / "two").error().code,
            RefusalCode::kCannotWrite);
  EXPECT_EQ(ReadAll(folder / "two" / "f"), "two");
  EXPECT_EQ(ReadAll(folder / "one" / "f"), "one");
  EXPECT_FALSE(MoveInto(folder / "none", folder / "x"));
}

TEST(ReadBytes, GivesTheFileAsItIs) {
  const fs::path folder = EmptyFolder("read_bytes");
  const std::string bytes("a\0\r\n\xff", 5);
  ASSERT_TRUE(WriteWhole(folder / "f", bytes));
  EXPECT_EQ(ReadBytes(folder / "f").value(), bytes);
  EXPECT_EQ(ReadBytes(folder / "f", 4).error().code,
            RefusalCode::kFileTooLarge);
  EXPECT_EQ(ReadBytes(folder).error().code, RefusalCode::kFileMissing);
  EXPECT_EQ(ReadBytes("/dev/zero").error().code, RefusalCode::kCannotRead);
}

// FIPS 180-2, appendix B.1 and B.2 (the examples of FIPS 180-4's SHA-256).
TEST(Sha256, AgreesWithThePublishedExamples) {
  EXPECT_EQ(Sha256("abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(Sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

}  // namespace
}  // namespace plumbfoot::photo
