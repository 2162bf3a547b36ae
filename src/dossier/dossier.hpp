// The one result document of a project: its file, what the budget found, the curves behind it, the results of runs that
// were made, and in words what a reviewer has to know. As JSON it feeds the page and the review report.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>
#include <tl/expected.hpp>

#include "budget/findings.hpp"
#include "project/diagnostic.hpp"

namespace perdure {

/// SHA-256 (FIPS 180-4), as 64 lower-case hexadecimal digits.
std::string sha256_of(std::string_view bytes);

/// A project file as it was read, with the hash that runs are kept under.
struct ProjectFile {
    std::string path, text, sha256;
    tl::expected<Project, std::vector<Diagnostic>> project;
};
/// Reads it (at most 1 MiB). A file that cannot be read has one error without a line.
ProjectFile load_project_file(const std::string& path);
ProjectFile project_file_of(std::string text, const std::string& path);

/// Results of other commands that go into the document, as their --json gives them; null where they were not run.
struct Runs {
    nlohmann::json age, cut, choice, sensitivity;
};

/// What a reviewer has to know beside the figures.
struct Remarks {
    std::vector<std::string> risks;       ///< open: what fails, is not known, not run, or rests on memory
    std::vector<std::string> assumptions; ///< each once
    std::vector<std::string> cautions;
    std::vector<std::string> commands; ///< that give these results again
};
Remarks remarks_of(const ProjectFile& file, const Budget& budget, const Runs& runs);

/// What is missing in a life run's JSON, or of another kind than it should be; empty where it can be shown.
std::string age_problem(const nlohmann::json& run);

/// Whether a run's JSON speaks of this very file; false where it carries no hash.
bool is_of(const nlohmann::json& run, const ProjectFile& file);

/// How much of the document is made.
struct DossierOptions {
    unsigned what_if_points = 17; ///< 0: no such curves
    bool coarse = false;          ///< a first answer, marked as such (budget/coarse.hpp)
    std::string version;
    std::string made; ///< date and time, as shown; may be empty
};

/// The whole document. Where the file is wrong, or nothing can be computed, `errors` or `refused` say so, and the rest
/// is absent. `holds` is what the program's exit code says.
nlohmann::json dossier_json(const ProjectFile& file, const Runs& runs, const DossierOptions& options);

} // namespace perdure
