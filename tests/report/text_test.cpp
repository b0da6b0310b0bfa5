// SPDX-License-Identifier: Apache-2.0
#include "report/text.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plumbfoot::report {
namespace {

using testing::ElementsAre;

TEST(CleanUtf8, KeepsWhatIsValidAndReplacesWhatIsNot) {
  EXPECT_EQ(CleanUtf8("Fjölnir 馬"), "Fjölnir 馬");
  EXPECT_EQ(CleanUtf8("caf\xe9"), "caf\xef\xbf\xbd");
  EXPECT_EQ(CleanUtf8(""), "");
}

TEST(CleanForTerminal, LeavesNoWayToMoveTheCursor) {
  EXPECT_EQ(CleanForTerminal("a\x1b[2Jb\nc\x7f"), "a?[2Jb?c?");
  EXPECT_EQ(CleanForTerminal("a\xc2\x9b"
                             "2Jb"),
            "a?2Jb");  // C1: CSI.
}

TEST(Columns, CountsCharactersNotBytes) {
  EXPECT_EQ(Columns("51.2° ± 0.8°"), 12);
  EXPECT_EQ(Columns("馬"), 2);
  EXPECT_EQ(Columns("e\xcc\x81"), 1);  // e and a combining acute accent.
  EXPECT_EQ(Columns("\xf0\x9f\x90\xb4"), 2);
}

TEST(Wrap, BreaksAtSpaces) {
  EXPECT_THAT(Wrap("the heel stands low", 10),
              ElementsAre("the heel", "stands low"));
  EXPECT_THAT(Wrap("", 10), ElementsAre(""));
}

TEST(Wrap, BreaksAWordThatIsLongerThanALine) {
  EXPECT_THAT(Wrap("ab cdefghijkl m", 5),
              ElementsAre("ab", "cdefg", "hijkl", "m"));
}

TEST(Wrap, NeverGoesOverTheEdge) {
  const std::string text =
      "Łąka 馬馬馬馬馬 stands 51.2° ± 0.8° overlongwordthatgoesonandon x";
  for (int columns = 4; columns < 40; ++columns) {
    for (const std::string& line : Wrap(text, columns)) {
      EXPECT_LE(Columns(line), columns) << line;
    }
  }
}

}  // namespace
}  // namespace plumbfoot::report
