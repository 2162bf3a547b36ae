#include "firmware/folder.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <sstream>

#include <fmt/format.h>

namespace perdure {
namespace {

namespace fs = std::filesystem;

constexpr const char* list_name = "emitted.txt";
constexpr size_t hash_letters = 64;

std::optional<std::string> contents(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    if (!file) { return std::nullopt; }
    std::stringstream text;
    text << file.rdbuf();
    return text.str();
}

/// path -> SHA-256, from the folder's emitted.txt. Lines that are none are passed over: what they named counts as
/// not ours. A path that leads out of the folder is none of ours either.
std::map<std::string, std::string> read_list(const fs::path& folder) {
    std::map<std::string, std::string> out;
    std::stringstream lines(contents(folder / list_name).value_or(""));
    for (std::string line; std::getline(lines, line);) {
        if (line.size() <= hash_letters + 2 || line.compare(hash_letters, 2, "  ") != 0) { continue; }
        const std::string path = line.substr(hash_letters + 2);
        if (path.find("..") != std::string::npos || path.front() == '/') { continue; }
        out[path] = line.substr(0, hash_letters);
    }
    return out;
}

/// The list in the form of sha256sum, which can check it.
std::string list_text(const std::map<std::string, std::string>& list) {
    std::string out;
    for (const auto& [path, hash] : list) { out += fmt::format("{}  {}\n", hash, path); }
    return out;
}

std::string refused(const fs::path& path, const char* what, int reason) {
    return fmt::format("{} {}{}", path.string(), what, reason == 0 ? "" : fmt::format(": {}", std::strerror(reason)));
}

/// Writes beside the file and renames, so that no half-written file is left. Nothing, or why it could not.
std::optional<std::string> write_whole(const fs::path& path, const std::string& text) {
    std::error_code error;
    fs::create_directories(path.parent_path(), error);
    if (error) { return refused(path.parent_path(), "cannot be made", error.value()); }
    const fs::path beside = path.string() + ".new";
    errno = 0;
    std::ofstream file(beside, std::ios::binary | std::ios::trunc);
    file << text;
    file.close();
    if (!file) {
        const int reason = errno;
        fs::remove(beside, error);
        return refused(path, "cannot be written", reason);
    }
    fs::rename(beside, path, error);
    if (!error) { return std::nullopt; }
    const int reason = error.value();
    fs::remove(beside, error);
    return refused(path, "cannot be written", reason);
}

struct Plan {
    std::vector<const EmittedFile*> to_write;
    std::vector<std::string> in_the_way;
    FolderReport report;
};

void plan_file(const fs::path& folder, const EmittedFile& file, const std::map<std::string, std::string>& before,
               bool force, Plan& plan) {
    const fs::path path = folder / file.path;
    std::error_code error;
    if (!fs::exists(fs::symlink_status(path, error))) {
        plan.to_write.push_back(&file);
        return;
    }
    const std::optional<std::string> found = fs::is_regular_file(path, error) ? contents(path) : std::nullopt;
    if (found == file.text) {
        plan.report.unchanged.push_back(file.path);
        return;
    }
    const auto known = before.find(file.path);
    const bool ours = found && known != before.end() && sha256_hex(*found) == known->second;
    if (file.yours && found && !ours) {
        plan.report.kept.push_back(file.path);
    } else if (ours || (force && found)) {
        plan.to_write.push_back(&file);
    } else if (!found) {
        plan.in_the_way.push_back(fs::is_regular_file(path, error) ? refused(path, "cannot be read", EACCES)
                                                                   : path.string() + " is no file");
    } else {
        plan.in_the_way.push_back(fmt::format("{} {}", path.string(),
                                              known == before.end() ? "was not written by perdure emit"
                                                                    : "was changed since perdure emit wrote it"));
    }
}

/// Removes what an earlier run wrote and this one does not, if nobody changed it.
void remove_stale(const fs::path& folder, const std::map<std::string, std::string>& before,
                  std::map<std::string, std::string>& list, FolderReport& report) {
    for (const auto& [path, hash] : before) {
        if (list.contains(path)) { continue; }
        const std::optional<std::string> found = contents(folder / path);
        if (!found) { continue; }
        std::error_code error;
        if (sha256_hex(*found) == hash && fs::remove(folder / path, error)) {
            report.removed.push_back(path);
        } else {
            report.left.push_back(path);
        }
    }
}

} // namespace

tl::expected<FolderReport, FolderError> write_folder(const std::string& folder, const std::vector<EmittedFile>& files,
                                                     bool force) {
    const fs::path root = folder;
    std::error_code error;
    if (folder.empty()) { return tl::unexpected(FolderError{{"the folder's name is empty"}, {}, false}); }
    if (fs::exists(root, error) && !fs::is_directory(root, error)) {
        return tl::unexpected(FolderError{{fmt::format("{} is no folder", folder)}, {}, false});
    }
    const std::map<std::string, std::string> before = read_list(root);
    Plan plan;
    for (const EmittedFile& file : files) { plan_file(root, file, before, force, plan); }
    if (!plan.in_the_way.empty()) { return tl::unexpected(FolderError{std::move(plan.in_the_way), {}, true}); }

    std::map<std::string, std::string> list;
    for (const EmittedFile& file : files) {
        // A kept file stays under the hash of what was written, so that it goes on counting as changed.
        const auto known = before.find(file.path);
        const bool kept =
            std::find(plan.report.kept.begin(), plan.report.kept.end(), file.path) != plan.report.kept.end();
        list[file.path] = kept && known != before.end() ? known->second : sha256_hex(file.text);
    }
    std::map<std::string, std::string> so_far = before;
    for (const EmittedFile* file : plan.to_write) {
        if (auto why = write_whole(root / file->path, file->text)) {
            if (!plan.report.written.empty()) { (void)write_whole(root / list_name, list_text(so_far)); }
            return tl::unexpected(FolderError{{std::move(*why)}, std::move(plan.report.written), false});
        }
        plan.report.written.push_back(file->path);
        so_far[file->path] = list[file->path];
    }
    remove_stale(root, before, list, plan.report);
    const std::string text = list_text(list);
    if (contents(root / list_name) != text) {
        if (auto why = write_whole(root / list_name, text)) {
            return tl::unexpected(FolderError{{std::move(*why)}, std::move(plan.report.written), false});
        }
    }
    return plan.report;
}

} // namespace perdure
