#include "cut_log/lines.hpp"

#include <charconv>

namespace perdure {
namespace {

constexpr std::string_view beginning = "PB1 ";
constexpr size_t check_letters = 6; // " *12AB"

std::vector<std::string> words_of(std::string_view text) {
    std::vector<std::string> out;
    while (!text.empty()) {
        const size_t end = std::min(text.find(' '), text.size());
        out.emplace_back(text.substr(0, end));
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return out;
}

template <class Number> bool read_whole(std::string_view text, Number& to, int base) {
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), to, base);
    return error == std::errc{} && end == text.data() + text.size();
}

} // namespace

uint16_t line_check(std::string_view bytes) {
    uint32_t check = 0;
    for (const char c : bytes) {
        check ^= static_cast<uint32_t>(static_cast<unsigned char>(c)) << 8U;
        for (int bit = 0; bit < 8; ++bit) { check = (check & 0x8000U) != 0 ? (check << 1U) ^ 0x1021U : check << 1U; }
        check &= 0xFFFFU;
    }
    return static_cast<uint16_t>(check);
}

BenchLine read_bench_line(std::string_view text, size_t place) {
    BenchLine out;
    out.place = place;
    if (text.find(beginning) == std::string_view::npos) { return out; }
    // A line that a cut ended runs into the next one: the last beginning counts, what stands before it is lost.
    const std::string_view line = text.substr(text.rfind(beginning));
    out.state = LineState::damaged;
    if (line.size() < beginning.size() + check_letters || line[line.size() - check_letters] != ' ' ||
        line[line.size() - check_letters + 1] != '*') {
        return out;
    }
    const std::string_view said = line.substr(0, line.size() - check_letters);
    uint16_t check = 0;
    if (!read_whole(line.substr(line.size() - 4), check, 16) || check != line_check(said)) { return out; }
    std::vector<std::string> words = words_of(said);
    if (words.size() < 3 || !read_whole(words[1], out.number, 10)) { return out; }
    out.state = LineState::whole;
    out.word = words[2];
    out.arguments.assign(words.begin() + 3, words.end());
    return out;
}

std::vector<BenchLine> read_bench_log(std::string_view text) {
    std::vector<BenchLine> out;
    for (size_t place = 1; !text.empty(); ++place) {
        const size_t end = std::min(text.find('\n'), text.size());
        std::string_view line = text.substr(0, end);
        text.remove_prefix(std::min(end + 1, text.size()));
        if (!line.empty() && line.back() == '\r') { line.remove_suffix(1); }
        out.push_back(read_bench_line(line, place));
    }
    return out;
}

} // namespace perdure
