// Folders for tests: several tests run at once, each in a process of its own, and none may see another's files.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>

namespace perdure {

/// A fresh folder that goes away with all that is in it.
class ScratchFolder {
public:
    ScratchFolder() {
        std::string pattern = (std::filesystem::temp_directory_path() / "perdure-test-XXXXXX").string();
        if (mkdtemp(pattern.data()) == nullptr) { throw std::runtime_error("no folder for a test"); }
        path_ = pattern;
    }
    ~ScratchFolder() {
        std::error_code error;
        std::filesystem::remove_all(path_, error);
    }
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;
    [[nodiscard]] std::filesystem::path path() const { return path_; }
    [[nodiscard]] std::string operator/(const std::string& name) const { return (path_ / name).string(); }

private:
    std::filesystem::path path_;
};

/// This process's folder, with a slash at its end; gone when the process ends.
inline std::string own_folder() {
    static const ScratchFolder folder;
    return folder.path().string() + "/";
}

} // namespace perdure
