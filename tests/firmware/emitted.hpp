// What the tests of emitted firmware share: folders that go away, commands, and projects to emit.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "firmware/firmware.hpp"
#include "tests/own_folder.hpp"

namespace perdure {

struct Ran {
    int code = -1;      ///< exit code; -1 when it did not end by itself
    std::string output; ///< standard output and standard error
};

/// Runs a line of shell.
Ran run_shell(const std::string& line);

/// Whether a program of that name can be run.
bool installed(const std::string& program);

std::string read_file(const std::string& path);
void write_file(const std::string& path, const std::string& text);

/// examples/NAME/NAME.toml.
std::string example(const std::string& name);

/// A project of two areas with a field of every type, signed and floating defaults, on a part of blank 0x00 and units
/// of 4 bytes.
std::string every_type_project();

/// A project of two logs, in batches with a time stamp and one by one, and a short one, beside a value that is saved
/// when the supply fails; on a part of blank 0xFF and units of 4 bytes.
std::string every_log_project();

/// The project text as firmware.
std::vector<EmittedFile> emitted(const std::string& project_text);

/// The text of one emitted file; a failure of the test when there is none.
std::string text_of(const std::vector<EmittedFile>& files, const std::string& path);

/// `perdure emit FILE FOLDER OPTIONS`.
Ran emit(const std::string& file, const std::string& folder, const std::string& options = "");

/// A change of one emitted file that is wrong.
struct Fault {
    const char *file, *right, *wrong;
};

/// Emits the project, puts the fault in, and expects that the emitted test ends with another code than 0 and says so.
void expect_found(const std::string& project, const Fault& fault);

/// The flags with which emitted code has to compile.
inline const std::string strict_flags =
    "-Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wcast-align -Wcast-qual -Wundef -Werror";

} // namespace perdure
