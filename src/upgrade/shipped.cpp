#include "upgrade/shipped.hpp"

#include <algorithm>
#include <charconv>

#include <fmt/format.h>

#include "upgrade/releases.hpp"

namespace perdure {
namespace {

constexpr std::string_view heading = "version,store,sha256,note";

/// Takes the text up to the next comma off `line`.
std::string_view cell(std::string_view& line) {
    const size_t comma = line.find(',');
    const std::string_view out = line.substr(0, comma);
    line.remove_prefix(comma == std::string_view::npos ? line.size() : comma + 1);
    return out;
}

bool number(std::string_view text, uint32_t& value) {
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    return error == std::errc{} && end == text.data() + text.size() && !text.empty();
}

bool is_sha256(std::string_view text) {
    return text.size() == 64 && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

} // namespace

tl::expected<std::vector<Shipped>, std::string> read_shipped(std::string_view text, const std::string& path) {
    std::vector<Shipped> out;
    for (size_t line_number = 1; !text.empty(); line_number++) {
        const size_t end = text.find('\n');
        std::string_view line = text.substr(0, end);
        text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
        if (!line.empty() && line.back() == '\r') { line.remove_suffix(1); }
        const auto wrong = [&](const std::string& what) {
            return tl::unexpected(fmt::format("{}:{}: error: {}", path, line_number, what));
        };
        if (line_number == 1) {
            if (line != heading) { return wrong(fmt::format("the first line is not '{}'", heading)); }
            continue;
        }
        if (line.empty()) { continue; }
        Shipped& one = out.emplace_back();
        uint32_t release = 0;
        if (!number(cell(line), one.number) || one.number != out.size()) {
            return wrong(fmt::format("the version is not {}; they are numbered from 1, one a line", out.size()));
        }
        if (!number(cell(line), release) || find_release(static_cast<int>(release)) == nullptr) {
            return wrong(
                fmt::format("no such release of the store; there are 1 to {}", store_releases().back()->version));
        }
        one.store_release = static_cast<int>(release);
        one.sha256 = cell(line);
        if (!is_sha256(one.sha256)) { return wrong("the third column is no SHA-256 in hexadecimal"); }
        one.note = line;
    }
    return out;
}

std::string write_shipped(const std::vector<Shipped>& all) {
    std::string out = fmt::format("{}\n", heading);
    for (const Shipped& one : all) {
        std::string note = one.note;
        std::replace_if(
            note.begin(), note.end(), [](unsigned char c) { return c < ' '; }, ' ');
        out += fmt::format("{},{},{},{}\n", one.number, one.store_release, one.sha256, note);
    }
    return out;
}

} // namespace perdure
