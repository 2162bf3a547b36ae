// Files that commands read besides the project, and how a command ends when its input is wrong.
#pragma once

#include <cstdint>
#include <iosfwd>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "cli/commands.hpp"
#include "hex/hex.hpp"
#include "project/diagnostic.hpp"
#include "project/layout.hpp"
#include "project/project.hpp"

namespace perdure {

/// The whole file, up to `bytes_max`; or why it cannot be read.
tl::expected<std::string, std::string> read_file(const std::string& path, uint64_t bytes_max = 1U << 28U);

/// Why the last call of the system failed, as ": No such file or directory"; empty where it does not say.
std::string last_reason();

/// Writes a file so that it is there whole or not at all. Empty, or why it cannot be written.
std::string write_file(const std::string& path, std::string_view contents);

/// Says what is wrong with the input, as text on `err` or as JSON on `out`: {"holds": false, "errors": [{"message":
/// ...}]}, with "file", "line", "column", "expected" and "nearest" where they are known. Gives the exit code.
int complain(const CommandInput& input, const std::string& text, std::ostream& out, std::ostream& err);

/// The same with the nearest known word; empty: none is near.
int complain(const CommandInput& input, const std::string& text, const std::string& nearest, std::ostream& out,
             std::ostream& err);

/// The same for a text that names its place already.
int complain_rendered(const CommandInput& input, const std::string& text, std::ostream& out, std::ostream& err);

/// The same for a project file's errors, one by one, and for a project that no budget can be made of.
int complain(const CommandInput& input, const std::vector<Diagnostic>& errors, std::ostream& out, std::ostream& err);
int complain(const CommandInput& input, const Project& project, const Refusal& refusal, std::ostream& out,
             std::ostream& err);

/// Errors of a HEX or S-record file with their lines, as a project file's are shown.
std::string render_hex_errors(const std::string& path, std::string_view contents, const HexRead& read);

/// The project of the first argument; absent, and complained of, if it has errors.
std::optional<Project> project_of(const CommandInput& input, std::ostream& out, std::ostream& err);

/// The value of an option, absent where it was not given.
std::optional<std::string> option_of(const CommandInput& input, std::string_view name);

/// An address of 32 bits, hexadecimal behind 0x or decimal. `value` stays absent where the option was not given; the
/// text says what is wrong, or is empty.
std::string address_option(const CommandInput& input, std::string_view name, std::optional<uint64_t>& value);

/// A whole number from `least` to `most`, likewise.
std::string number_option(const CommandInput& input, std::string_view name, uint64_t least, uint64_t most,
                          uint64_t& value);

/// "12,345".
std::string with_groups(uint64_t value);

} // namespace perdure
