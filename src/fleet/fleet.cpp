#include "fleet/fleet.hpp"

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <deque>
#include <filesystem>
#include <fstream>
#include <mutex>
#include <thread>

#include <fmt/format.h>

namespace perdure {
namespace {

/// Rows on their way from the threads to the one that takes them.
class Rows {
public:
    explicit Rows(size_t room) : room_(room) {}

    /// Waits while there is no room. False: no more rows are wanted.
    bool put(UnitRow&& row) {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [&] { return rows_.size() < room_ || ended_; });
        if (ended_) { return false; }
        rows_.push_back(std::move(row));
        changed_.notify_all();
        return true;
    }
    UnitRow take() {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [&] { return !rows_.empty(); });
        UnitRow row = std::move(rows_.front());
        rows_.pop_front();
        changed_.notify_all();
        return row;
    }
    void end() {
        const std::lock_guard lock(mutex_);
        ended_ = true;
        changed_.notify_all();
    }

private:
    size_t room_;
    bool ended_ = false;
    std::mutex mutex_;
    std::condition_variable changed_;
    std::deque<UnitRow> rows_;
};

} // namespace

std::vector<std::string> dumps_in(const std::string& folder, size_t& left_out) {
    std::vector<std::string> files;
    std::error_code error;
    for (const auto& entry : std::filesystem::directory_iterator(folder, error)) {
        if (entry.is_regular_file(error) && format_of_name(entry.path().filename().string())) {
            files.push_back(entry.path().string());
        } else {
            left_out++;
        }
    }
    std::ranges::sort(files);
    return files;
}

UnitRow inspect_file(const Expected& expected, const std::string& path, const FleetOptions& options) {
    UnitRow row;
    const std::filesystem::path named(path);
    const std::string serial = named.stem().string();
    InspectOptions inspect_options;
    inspect_options.gaps_are_blank = options.gaps_are_blank;
    inspect_options.tries_max = options.tries_max;
    inspect_options.texts = false; // nothing of a fleet shows them
    inspect_options.age_years = options.age_years;
    if (const auto found = options.ages.find(serial); found != options.ages.end()) {
        inspect_options.age_years = found->second;
    }
    std::error_code error;
    const uint64_t bytes = std::filesystem::file_size(named, error);
    std::string contents;
    if (error) {
        row.error = "cannot be read";
    } else if (bytes > options.file_bytes_max) {
        row.error = fmt::format("has {} bytes, more than {}", bytes, options.file_bytes_max);
    } else {
        std::ifstream file(path, std::ios::binary);
        contents.resize(bytes);
        file.read(contents.data(), static_cast<std::streamsize>(bytes));
        if (file.gcount() != static_cast<std::streamsize>(bytes)) { row.error = "cannot be read"; }
    }
    if (row.error.empty()) {
        const std::optional<HexFormat> format = format_of_name(path);
        const DumpFile dump =
            read_dump(path, contents, format, format == HexFormat::binary ? options.base : std::nullopt);
        if (dump.read.memory.segments.empty()) {
            row.error = dump.read.errors.empty() ? "holds no bytes"
                                                 : fmt::format("holds no bytes; line {}: {}", dump.read.errors[0].line,
                                                               dump.read.errors[0].message);
        } else {
            const Inspection inspection = inspect(expected, dump, inspect_options);
            row = row_of(dump, inspection);
            if (!inspection.place.unclear.empty()) {
                row = {};
                row.error = inspection.place.unclear + ": --base ADDRESS says it, for all";
            }
        }
    }
    row.file = named.filename().string();
    row.serial = serial;
    row.file_bytes = contents.size();
    row.age_years = inspect_options.age_years;
    return row;
}

void inspect_fleet(const Expected& expected, const std::vector<std::string>& files, const FleetOptions& options,
                   const std::function<bool(UnitRow&&)>& take) {
    const size_t count = std::clamp<size_t>(options.threads, 1, std::max<size_t>(files.size(), 1));
    Rows rows(4 * count);
    std::atomic<size_t> next = 0;
    std::vector<std::jthread> threads;
    for (size_t i = 0; i < count; i++) {
        threads.emplace_back([&] {
            for (size_t at = next++; at < files.size(); at = next++) {
                UnitRow row = inspect_file(expected, files[at], options);
                row.number = at + 1;
                if (!rows.put(std::move(row))) { return; }
            }
        });
    }
    for (size_t i = 0; i < files.size(); i++) {
        if (!take(rows.take())) { break; }
    }
    rows.end();
}

} // namespace perdure
