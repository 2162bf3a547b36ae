// docs/tutorial.md is run as it stands: its files are written, its commands run one after another, and what they print
// is what it shows. A line "..." stands for any lines.
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"

namespace perdure {
namespace {

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) { lines.push_back(line); }
    return lines;
}

/// Do `shown` lines stand for `printed` ones?
bool stands_for(const std::vector<std::string>& shown, const std::vector<std::string>& printed, size_t s = 0,
                size_t p = 0) {
    for (; s < shown.size(); s++, p++) {
        if (shown[s] == "...") {
            for (size_t at = p; at <= printed.size(); at++) {
                if (stands_for(shown, printed, s + 1, at)) { return true; }
            }
            return false;
        }
        if (p == printed.size() || shown[s] != printed[p]) { return false; }
    }
    return p == printed.size();
}

TEST(Tutorial, PrintsWhatItShows) {
    const std::vector<std::string> text = lines_of(read_file(PERDURE_SOURCE_DIR "/docs/tutorial.md"));
    const ScratchFolder folder;
    const std::string program = PERDURE_PROGRAM;
    const std::string begin =
        "cd '" + folder.path().string() + "' && PATH='" + program.substr(0, program.rfind('/')) + "':$PATH && ";
    size_t commands = 0;
    for (size_t i = 0; i < text.size(); i++) {
        if (text[i].rfind("```", 0) != 0) { continue; }
        std::vector<std::string> block;
        const std::string kind = text[i].substr(3);
        for (i++; i < text.size() && text[i] != "```"; i++) { block.push_back(text[i]); }
        if (kind.rfind("toml ", 0) == 0) {
            std::string contents;
            for (const std::string& line : block) { contents += line + "\n"; }
            write_file(folder / kind.substr(5), contents);
            continue;
        }
        ASSERT_EQ(kind, "console") << "a block of another kind";
        for (size_t at = 0; at < block.size();) {
            ASSERT_EQ(block[at].substr(0, 2), "$ ") << block[at];
            const std::string command = block[at].substr(2);
            std::vector<std::string> shown;
            for (at++; at < block.size() && block[at].rfind("$ ", 0) != 0; at++) { shown.push_back(block[at]); }
            const Ran ran = run_shell(begin + command);
            EXPECT_TRUE(stands_for(shown, lines_of(ran.output))) << "$ " << command << "\n" << ran.output;
            commands++;
        }
    }
    EXPECT_GT(commands, 12U);
}

} // namespace
} // namespace perdure
