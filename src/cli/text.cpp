#include "cli/text.hpp"

#include <algorithm>

namespace perdure {

std::string wrapped(std::string_view words, size_t indent, size_t used) {
    std::string out;
    size_t column = used;
    bool first = true;
    while (!words.empty()) {
        const size_t end = std::min(words.find(' '), words.size());
        const std::string_view word = words.substr(0, end);
        words.remove_prefix(std::min(end + 1, words.size()));
        if (word.empty()) { continue; }
        if (!first && column + 1 + word.size() > text_columns) {
            out += "\n" + std::string(indent, ' ');
            column = indent;
        } else if (!first) {
            out += ' ';
            ++column;
        }
        out += word;
        column += word.size();
        first = false;
    }
    return out;
}

} // namespace perdure
