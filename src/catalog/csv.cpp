#include "catalog/csv.hpp"

#include <fmt/format.h>

namespace perdure {
namespace {

/// Where reading stands in the text; lines are counted from 1.
struct Reader {
    std::string_view text;
    size_t at = 0;
    size_t line = 1;

    [[nodiscard]] bool done() const { return at >= text.size(); }
    [[nodiscard]] bool at_line_end() const {
        return text[at] == '\n' || (text[at] == '\r' && at + 1 < text.size() && text[at + 1] == '\n');
    }
};

tl::expected<std::string, std::string> read_quoted(Reader& reader) {
    const size_t opened = reader.line;
    std::string field;
    reader.at++; // the quote
    while (!reader.done()) {
        const char c = reader.text[reader.at++];
        if (c == '\n') { reader.line++; }
        if (c != '"') {
            field += c;
            continue;
        }
        if (!reader.done() && reader.text[reader.at] == '"') {
            field += '"';
            reader.at++;
            continue;
        }
        if (reader.done() || reader.text[reader.at] == ',' || reader.at_line_end()) { return field; }
        return tl::unexpected(fmt::format("line {}: a quoted field ends before its comma", reader.line));
    }
    return tl::unexpected(fmt::format("line {}: a quoted field has no end", opened));
}

std::string read_plain(Reader& reader) {
    const size_t from = reader.at;
    while (!reader.done() && reader.text[reader.at] != ',' && !reader.at_line_end()) { reader.at++; }
    return std::string(reader.text.substr(from, reader.at - from));
}

} // namespace

tl::expected<std::vector<std::vector<std::string>>, std::string> parse_csv(std::string_view text) {
    std::vector<std::vector<std::string>> records;
    Reader reader{text};
    while (!reader.done()) {
        std::vector<std::string>& record = records.emplace_back();
        while (true) {
            if (!reader.done() && reader.text[reader.at] == '"') {
                auto field = read_quoted(reader);
                if (!field) { return tl::unexpected(field.error()); }
                record.push_back(std::move(*field));
            } else {
                record.push_back(read_plain(reader));
            }
            if (reader.done() || reader.text[reader.at] != ',') { break; }
            reader.at++;
        }
        if (reader.done()) { break; }
        reader.at += reader.text[reader.at] == '\r' ? 2 : 1;
        reader.line++;
    }
    return records;
}

} // namespace perdure
