#include "project/diagnostic.hpp"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>

namespace perdure {
namespace {

constexpr size_t shown_characters_max = 72; // 80 columns less the indent and the two cut signs

bool is_continuation(char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) == 0x80U;
}

/// The line as printable characters, one string each, so that a column is an index.
std::vector<std::string> printable_characters(std::string_view line) {
    std::vector<std::string> out;
    for (const char c : line) {
        const auto byte = static_cast<unsigned char>(c);
        if (is_continuation(c) && !out.empty() && out.back().size() < 4 &&
            (static_cast<unsigned char>(out.back().front()) >= 0xC0U)) {
            out.back().push_back(c);
        } else if (byte == '\t') {
            out.emplace_back(" ");
        } else if (byte < 0x20U || byte == 0x7FU || is_continuation(c)) {
            out.emplace_back("?");
        } else {
            out.emplace_back(1, c);
        }
    }
    for (std::string& character : out) {
        const auto first = static_cast<unsigned char>(character.front());
        const size_t wanted = first < 0x80U ? 1 : first >= 0xF8U ? 0 : first >= 0xF0U ? 4 : first >= 0xE0U ? 3 : 2;
        // C1 controls (U+0080..U+009F) can steer a terminal as well as the ones below 0x20.
        const bool control =
            first == 0xC2U && character.size() == 2 && static_cast<unsigned char>(character[1]) < 0xA0U;
        if (character.size() != wanted || control) { character = "?"; }
    }
    return out;
}

/// Words of the file stand in messages, so messages are made printable and kept short too.
std::string shown_text(std::string_view text) {
    constexpr size_t characters_max = 400;
    std::string out;
    const std::vector<std::string> characters = printable_characters(text.substr(0, 4 * characters_max));
    for (size_t i = 0; i < std::min(characters.size(), characters_max); ++i) { out += characters[i]; }
    return out + (characters.size() > characters_max ? "..." : "");
}

/// The source line and the caret line under it, indented; nothing when the line is empty.
std::string show_line(std::string_view line, const Span& span) {
    const std::vector<std::string> characters = printable_characters(line);
    if (characters.empty() || span.place.column == 0) { return {}; }
    const size_t caret = std::min<size_t>(span.place.column - 1, characters.size());
    size_t first = 0;
    size_t last = characters.size();
    if (last > shown_characters_max) {
        first = caret > shown_characters_max / 2 ? caret - shown_characters_max / 2 : 0;
        last = std::min(last, first + shown_characters_max);
        first = last - std::min(last, shown_characters_max);
    }
    std::string text(first > 0 ? "<" : "");
    for (size_t i = first; i < last; ++i) { text += characters[i]; }
    while (!text.empty() && text.back() == ' ') { text.pop_back(); }
    text += last < characters.size() ? ">" : "";
    const size_t tail = std::min<size_t>(std::max<uint32_t>(span.length, 1) - 1, last > caret ? last - caret - 1 : 0);
    const size_t indent = caret - first + (first > 0 ? 1 : 0);
    return fmt::format("    {}\n    {}^{}\n", text, std::string(indent, ' '), std::string(tail, '~'));
}

} // namespace

std::string render(const Diagnostic& diagnostic) {
    std::string out = diagnostic.path;
    if (diagnostic.span.place.line > 0) {
        out += fmt::format(":{}:{}", diagnostic.span.place.line, diagnostic.span.place.column);
    }
    out += fmt::format(": error: {}\n", shown_text(diagnostic.message));
    out += show_line(diagnostic.line_text, diagnostic.span);
    if (!diagnostic.expected.empty()) { out += fmt::format("  expected: {}\n", shown_text(diagnostic.expected)); }
    if (!diagnostic.nearest.empty()) { out += fmt::format("  nearest: {}\n", shown_text(diagnostic.nearest)); }
    for (const Elsewhere& other : diagnostic.elsewhere) {
        out += fmt::format("  see line {}: {}\n", other.span.place.line, shown_text(other.text));
        out += show_line(other.line_text, other.span);
    }
    return out;
}

std::string render(const std::vector<Diagnostic>& diagnostics) {
    std::string out;
    for (const Diagnostic& diagnostic : diagnostics) { out += render(diagnostic) + "\n"; }
    return out + fmt::format("{} error{}\n", diagnostics.size(), diagnostics.size() == 1 ? "" : "s");
}

void order_by_place(std::vector<Diagnostic>& diagnostics) {
    std::stable_sort(diagnostics.begin(), diagnostics.end(), [](const Diagnostic& a, const Diagnostic& b) {
        const Place& p = a.span.place;
        const Place& q = b.span.place;
        return p.line != q.line ? p.line < q.line : p.column < q.column;
    });
}

size_t edit_distance(std::string_view from, std::string_view to) {
    const auto lower = [](char c) { return std::tolower(static_cast<unsigned char>(c)); };
    const size_t width = to.size() + 1;
    std::vector<size_t> cost((from.size() + 1) * width);
    const auto at = [&](size_t i, size_t j) -> size_t& { return cost[i * width + j]; };
    for (size_t i = 0; i <= from.size(); ++i) { at(i, 0) = i; }
    for (size_t j = 0; j <= to.size(); ++j) { at(0, j) = j; }
    for (size_t i = 1; i <= from.size(); ++i) {
        for (size_t j = 1; j <= to.size(); ++j) {
            const bool same = lower(from[i - 1]) == lower(to[j - 1]);
            at(i, j) = std::min({at(i - 1, j) + 1, at(i, j - 1) + 1, at(i - 1, j - 1) + (same ? 0U : 1U)});
            const bool swapped =
                i > 1 && j > 1 && lower(from[i - 1]) == lower(to[j - 2]) && lower(from[i - 2]) == lower(to[j - 1]);
            if (swapped) { at(i, j) = std::min(at(i, j), at(i - 2, j - 2) + 1); }
        }
    }
    return at(from.size(), to.size());
}

std::string nearest(std::string_view word, const std::vector<std::string>& candidates) {
    constexpr size_t word_length_max = 64; // longer ones are no misspelling; keeps hostile files cheap
    if (word.size() > word_length_max) { return {}; }
    const size_t limit = std::max<size_t>(1, word.size() / 3);
    size_t best = limit + 1;
    std::string found;
    for (const std::string& candidate : candidates) {
        const size_t distance = edit_distance(word, candidate);
        if (distance < best) {
            best = distance;
            found = candidate;
        }
    }
    return found;
}

} // namespace perdure
