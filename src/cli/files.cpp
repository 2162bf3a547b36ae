#include "cli/files.hpp"

#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "cli/text.hpp"
#include "dossier/project_json.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

bool whole(std::string_view text, uint64_t& value) {
    int base = 10;
    if (text.starts_with("0x") || text.starts_with("0X")) {
        text.remove_prefix(2);
        base = 16;
    }
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, base);
    return error == std::errc{} && end == text.data() + text.size() && !text.empty();
}

/// Line `number` (from 1) of `contents`.
std::string line_of(std::string_view contents, uint32_t number) {
    for (uint32_t line = 1; line < number; line++) {
        const size_t end = contents.find('\n');
        if (end == std::string_view::npos) { return {}; }
        contents.remove_prefix(end + 1);
    }
    return std::string(contents.substr(0, contents.find_first_of("\r\n")));
}

} // namespace

std::string last_reason() {
    return errno == 0 ? std::string() : fmt::format(": {}", std::strerror(errno));
}

tl::expected<std::string, std::string> read_file(const std::string& path, uint64_t bytes_max) {
    std::error_code error;
    const auto status = std::filesystem::status(path, error);
    if (!std::filesystem::exists(status)) { return tl::unexpected(fmt::format("cannot find '{}'", path)); }
    if (std::filesystem::is_directory(status)) { return tl::unexpected(fmt::format("'{}' is a folder", path)); }
    errno = 0;
    std::ifstream file(path, std::ios::binary);
    std::string contents;
    std::string piece(1U << 16U, '\0');
    while (file.read(piece.data(), static_cast<std::streamsize>(piece.size())) || file.gcount() > 0) {
        contents.append(piece, 0, static_cast<size_t>(file.gcount()));
        if (contents.size() > bytes_max) {
            return tl::unexpected(fmt::format("'{}' has more than {} bytes", path, with_groups(bytes_max)));
        }
    }
    if (!file.eof()) { return tl::unexpected(fmt::format("cannot read '{}'{}", path, last_reason())); }
    return contents;
}

std::string write_file(const std::string& to, std::string_view contents) {
    std::error_code none;
    const bool link = std::filesystem::is_symlink(to, none);
    const std::string path = link ? std::filesystem::weakly_canonical(to, none).string() : to; // the link stays
    if (std::filesystem::exists(path, none) && !std::filesystem::is_regular_file(path, none)) {
        return fmt::format("cannot write '{}': it is there, and is no file", to);
    }
    const std::string beside = path + ".part";
    errno = 0;
    std::ofstream file(beside, std::ios::binary);
    file << contents;
    file.close();
    if (file && std::rename(beside.c_str(), path.c_str()) == 0) { return {}; }
    const std::string reason = last_reason();
    std::error_code error;
    std::filesystem::remove(beside, error);
    return fmt::format("cannot write '{}'{}", to, reason);
}

namespace {

int wrong_input(const CommandInput& input, nlohmann::json errors, const std::string& text, std::ostream& out,
                std::ostream& err) {
    if (input.json) {
        const nlohmann::json json{{"holds", false}, {"errors", std::move(errors)}};
        // A file may hold any text: bytes that are not UTF-8 become the replacement character.
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    } else {
        err << text;
    }
    return exit_input_wrong;
}

} // namespace

int complain(const CommandInput& input, const std::string& text, std::ostream& out, std::ostream& err) {
    return wrong_input(input, {{{"message", text}}}, fmt::format("perdure: error: {}\n", text), out, err);
}

int complain(const CommandInput& input, const std::string& text, const std::string& nearest, std::ostream& out,
             std::ostream& err) {
    if (nearest.empty()) { return complain(input, text, out, err); }
    return wrong_input(input, {{{"message", text}, {"nearest", nearest}}},
                       fmt::format("perdure: error: {}\n", text) + "  nearest: " + nearest + '\n', out, err);
}

int complain_rendered(const CommandInput& input, const std::string& text, std::ostream& out, std::ostream& err) {
    std::string message = text;
    while (!message.empty() && message.back() == '\n') { message.pop_back(); }
    return wrong_input(input, {{{"message", message}}}, text, out, err);
}

int complain(const CommandInput& input, const std::vector<Diagnostic>& errors, std::ostream& out, std::ostream& err) {
    return wrong_input(input, diagnostics_json(errors), render(errors), out, err);
}

int complain(const CommandInput& input, const Project& project, const Refusal& refusal, std::ostream& out,
             std::ostream& err) {
    const std::string where = fmt::format("{}:{}: ", project.path, project.part_place.line);
    const nlohmann::json error{{"message", refusal.text}, {"file", project.path}, {"line", project.part_place.line}};
    return wrong_input(input, {error}, where + wrapped(refusal.text, 2, where.size()) + '\n', out, err);
}

std::string render_hex_errors(const std::string& path, std::string_view contents, const HexRead& read) {
    std::string out;
    for (const HexError& error : read.errors) {
        Diagnostic diagnostic;
        diagnostic.path = path;
        diagnostic.span = {{error.line, error.column}, error.length};
        diagnostic.message = error.message;
        diagnostic.expected = error.expected;
        diagnostic.line_text = line_of(contents, error.line);
        if (error.other_line != 0) {
            diagnostic.elsewhere.push_back(
                {{{error.other_line, 1}, 1}, "the first time", line_of(contents, error.other_line)});
        }
        out += render(diagnostic);
    }
    if (read.error_count > read.errors.size()) {
        out += fmt::format("{}: {} errors more\n", path, read.error_count - read.errors.size());
    }
    return out;
}

std::optional<Project> project_of(const CommandInput& input, std::ostream& out, std::ostream& err) {
    auto project = load_project(input.arguments.front(), catalog());
    if (project) { return std::move(*project); }
    complain(input, project.error(), out, err);
    return std::nullopt;
}

std::optional<std::string> option_of(const CommandInput& input, std::string_view name) {
    const auto it = input.options.find(name);
    return it == input.options.end() ? std::nullopt : std::optional(it->second);
}

std::string address_option(const CommandInput& input, std::string_view name, std::optional<uint64_t>& value) {
    const auto text = option_of(input, name);
    if (!text) { return {}; }
    uint64_t number = 0;
    if (!whole(*text, number) || number > 0xFFFFFFFFU) {
        return fmt::format("{} takes an address such as 0x08000000, not '{}'", name, *text);
    }
    value = number;
    return {};
}

std::string number_option(const CommandInput& input, std::string_view name, uint64_t least, uint64_t most,
                          uint64_t& value) {
    const auto text = option_of(input, name);
    if (!text) { return {}; }
    if (!whole(*text, value) || value < least || value > most) {
        return fmt::format("{} takes a whole number from {} to {}, not '{}'", name, least, most, *text);
    }
    return {};
}

std::string with_groups(uint64_t value) {
    std::string digits = fmt::format("{}", value);
    for (size_t at = digits.size(); at > 3;) { digits.insert(at -= 3, ","); }
    return digits;
}

} // namespace perdure
