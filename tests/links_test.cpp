// The links of the documents lead somewhere: to a file that is there, and to a heading of it.
#include <algorithm>
#include <cctype>
#include <filesystem>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

namespace fs = std::filesystem;

/// A heading as a link names it: small letters, blanks as dashes, of the rest letters, digits, dashes and underscores.
std::string anchor_of(const std::string& heading) {
    std::string out;
    for (const char c : heading) {
        const auto byte = static_cast<unsigned char>(c);
        if (c == ' ') { out += '-'; }
        if (std::isalnum(byte) != 0 || c == '-' || c == '_') { out += static_cast<char>(std::tolower(byte)); }
    }
    return out;
}

/// The document without its blocks of code.
std::vector<std::string> prose_of(const fs::path& path) {
    std::istringstream in(read_file(path.string()));
    std::vector<std::string> out;
    bool code = false;
    for (std::string line; std::getline(in, line);) {
        if (line.rfind("```", 0) == 0) {
            code = !code;
        } else if (!code) {
            out.push_back(line);
        }
    }
    return out;
}

std::set<std::string> anchors_of(const fs::path& path) {
    std::set<std::string> out;
    for (const std::string& line : prose_of(path)) {
        const size_t marks = line.find_first_not_of('#');
        if (marks == 0 || marks == std::string::npos || line[marks] != ' ') { continue; }
        const std::string anchor = anchor_of(line.substr(marks + 1));
        std::string other = anchor; // a second heading of the same words
        for (size_t i = 1; !out.insert(other).second; i++) { other = anchor + "-" + std::to_string(i); }
    }
    return out;
}

TEST(Links, LeadToFilesAndHeadings) {
    const fs::path root(source_path());
    std::vector<fs::path> documents{root / "README.md", root / "ARCHITECTURE.md"};
    for (const char* folder : {"docs", "store", "catalog", "examples", "tests", "bench"}) {
        if (!fs::exists(root / folder)) { continue; }
        for (const auto& entry : fs::recursive_directory_iterator(root / folder)) {
            if (entry.path().extension() == ".md") { documents.push_back(entry.path()); }
        }
    }
    static const std::regex link(R"(\]\(([^)\s]+)\))");
    size_t count = 0;
    for (const fs::path& document : documents) {
        for (const std::string& line : prose_of(document)) {
            for (std::sregex_iterator it(line.begin(), line.end(), link), end; it != end; ++it) {
                const std::string target = (*it)[1];
                if (target.find("://") != std::string::npos) { continue; }
                count++;
                const std::string where = document.lexically_relative(root).string() + ": " + target;
                const size_t mark = std::min(target.find('#'), target.size());
                const fs::path file = mark == 0 ? document : document.parent_path() / target.substr(0, mark);
                if (!fs::exists(file)) {
                    ADD_FAILURE() << where << ": there is no such file";
                } else if (mark < target.size()) {
                    EXPECT_TRUE(anchors_of(file).contains(target.substr(mark + 1))) << where << ": no such heading";
                }
            }
        }
    }
    EXPECT_GT(count, 60U);
}

} // namespace
} // namespace perdure
