#include "tests/run_document.hpp"

#include <cstdlib>
#include <sstream>
#include <vector>

#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) { lines.push_back(line); }
    return lines;
}

std::string text_of(const std::vector<std::string>& lines) {
    std::string out;
    for (const std::string& line : lines) { out += line + "\n"; }
    return out;
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

/// Runs the commands of a block. Gives the block as it should be: where a command prints something else, with that.
std::vector<std::string> run_block(const std::vector<std::string>& block, const std::string& begin, bool write,
                                   size_t& commands) {
    std::vector<std::string> out;
    for (size_t at = 0; at < block.size();) {
        if (block[at].rfind("$ ", 0) != 0) {
            ADD_FAILURE() << "no command before: " << block[at];
            return block;
        }
        const std::string command = block[at].substr(2);
        out.push_back(block[at]);
        std::vector<std::string> shown;
        for (at++; at < block.size() && block[at].rfind("$ ", 0) != 0; at++) { shown.push_back(block[at]); }
        const Ran ran = run_shell(begin + "{ " + command + "; }");
        const std::vector<std::string> printed = lines_of(ran.output);
        commands++;
        if (!stands_for(shown, printed)) {
            EXPECT_TRUE(write) << "$ " << command << "\n" << ran.output;
            shown = printed;
        }
        out.insert(out.end(), shown.begin(), shown.end());
    }
    return out;
}

} // namespace

size_t hold_document(const std::string& document, bool slow) {
    const std::string path = source_path(document);
    const std::string contents = read_file(path);
    const std::vector<std::string> text = lines_of(contents);
    const bool write = std::getenv("PERDURE_WRITE_TRANSCRIPTS") != nullptr;
    const ScratchFolder folder;
    const std::string program = program_path();
    const std::string begin =
        "cd '" + folder.path().string() + "' && PATH='" + program.substr(0, program.rfind('/')) + "':$PATH && ";
    size_t commands = 0;
    std::vector<std::string> out;
    for (size_t i = 0; i < text.size(); i++) {
        out.push_back(text[i]);
        if (text[i].rfind("```", 0) != 0) { continue; }
        std::vector<std::string> block;
        const std::string kind = text[i].substr(3);
        for (i++; i < text.size() && text[i] != "```"; i++) { block.push_back(text[i]); }
        if (kind.rfind("toml ", 0) == 0 || kind.rfind("text ", 0) == 0) {
            write_file(folder / kind.substr(5), text_of(block));
        } else if (kind == "console" || (slow && kind == "console slow")) {
            block = run_block(block, begin, write, commands);
        } else {
            EXPECT_TRUE(kind.empty() || kind == "console slow") << "a block of another kind: " << kind;
        }
        out.insert(out.end(), block.begin(), block.end());
        out.emplace_back("```");
    }
    if (write && text_of(out) != contents) { write_file(path, text_of(out)); }
    return commands;
}

} // namespace perdure
