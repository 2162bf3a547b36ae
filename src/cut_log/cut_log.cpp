#include "cut_log/cut_log.hpp"

#include <algorithm>
#include <charconv>
#include <optional>
#include <set>

#include <fmt/format.h>

namespace perdure {
namespace {

constexpr size_t faults_kept = 50;
constexpr uint32_t status_ok = 0, status_blank = 2; // perdure_status in store.h

/// Contents number of a record, or the default when it is nothing.
using Contents = std::optional<uint32_t>;

struct RecordModel {
    bool known = false;                ///< whether it is known what it has to read as
    std::vector<Contents> allowed;     ///< one after a save; two after a lazy start behind a cut
    std::optional<uint32_t> being_put; ///< "put" without "done"
    bool seen_in_start = false;
};

enum class Phase { before, starting, running, stopped };

std::string status_name(uint32_t status) {
    constexpr const char* names[] = {"PERDURE_OK",        "PERDURE_DEFAULT",  "PERDURE_BLANK", "PERDURE_FOREIGN",
                                     "PERDURE_READ_ONLY", "PERDURE_BACKWARD", "PERDURE_FAULT", "PERDURE_CONFIG"};
    return status < std::size(names) ? names[status] : fmt::format("status {}", status);
}

uint32_t low_bits(uint32_t number, uint32_t bits) {
    return bits >= 32 ? number : number & ((uint32_t{1} << bits) - 1);
}

std::string show(const Contents& contents) {
    return contents ? fmt::format("{}", *contents) : std::string("the default");
}

class Checker {
public:
    void take(const BenchLine& line) {
        if (line.state == LineState::other_text) {
            report_.other_text++;
            return;
        }
        if (line.state == LineState::damaged) {
            damaged_in_a_row_++;
            return;
        }
        const bool begins = line.word == "start";
        if (!begins) { count_missing(line); }
        // A line that the cut itself ended is no damage.
        report_.damaged += damaged_in_a_row_ - (begins && damaged_in_a_row_ > 0 ? 1 : 0);
        unsure_ = unsure_ || damaged_in_a_row_ > 0;
        damaged_in_a_row_ = 0;
        last_number_ = line.number;
        dispatch(line);
    }

    CutLogReport finish() {
        report_.damaged += damaged_in_a_row_ - (damaged_in_a_row_ > 0 ? 1 : 0); // the last one may be cut short
        return std::move(report_);
    }

private:
    void fault(const BenchLine& line, std::string text) {
        report_.fault_count++;
        if (report_.faults.size() < faults_kept) { report_.faults.push_back({line.place, std::move(text)}); }
    }

    void count_missing(const BenchLine& line) {
        if (!last_number_) { return; }
        if (line.number <= *last_number_) { // the line of a start is not there
            report_.missing++;
            start();
            return;
        }
        const uint64_t gap = line.number - *last_number_ - 1;
        if (gap > damaged_in_a_row_) {
            report_.missing += gap - damaged_in_a_row_;
            unsure_ = true;
        }
    }

    /// Argument `at` as a number; the line counts as damaged where it is none.
    std::optional<uint32_t> number(const BenchLine& line, size_t at) {
        if (at >= line.arguments.size()) { return std::nullopt; }
        const std::string& text = line.arguments[at];
        uint32_t out = 0;
        const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
        if (error != std::errc{} || end != text.data() + text.size()) { return std::nullopt; }
        return out;
    }

    void dispatch(const BenchLine& line) {
        const auto first = number(line, 0);
        const auto second = number(line, 1);
        const auto third = number(line, 2);
        if (line.word == "start") {
            lazy_ = !line.arguments.empty() && line.arguments[0] == "lazy";
            start();
        } else if (line.word == "opened" && second) {
            opened(line, *first, *second);
        } else if (line.word == "formatting" && first) {
            for (auto& [key, record] : models_) {
                if (key.first == *first) { record = {true, {Contents{}}, std::nullopt, false}; }
            }
            formatted_[*first] = false;
        } else if (line.word == "formatted" && second) {
            formatted_[*first] = *second == status_ok;
            if (*second != status_ok) {
                fault(line, fmt::format("format of area {} failed with {}", *first, status_name(*second)));
            }
        } else if (line.word == "have" && second && line.arguments.size() >= 3) {
            have(line, {*first, *second});
        } else if (line.word == "ready") {
            ready(line);
        } else if (line.word == "put" && third) {
            put({*first, *second}, *third);
        } else if (line.word == "done" && third && number(line, 3)) {
            done(line, {*first, *second}, *third, *number(line, 3));
        } else if (line.word == "stop") {
            phase_ = Phase::stopped;
        } else {
            report_.damaged++;
        }
    }

    void start() {
        report_.starts++;
        report_.starts_cut += phase_ == Phase::starting ? 1 : 0;
        bool in_save = false;
        for (auto& [key, record] : models_) {
            record.seen_in_start = false;
            if (phase_ != Phase::running || !record.being_put) { continue; }
            report_.records[key].cut++;
            in_save = true;
        }
        report_.cuts_between += phase_ == Phase::running && !in_save ? 1 : 0;
        phase_ = Phase::starting;
        unsure_ = false;
    }

    void opened(const BenchLine& line, uint32_t area, uint32_t status) {
        const bool formatted = formatted_.contains(area) && formatted_[area];
        const bool begun = formatted_.contains(area) && !formatted_[area];
        if (status == status_ok || (status == status_blank && !formatted) || begun) { return; }
        fault(line, status == status_blank
                        ? fmt::format("area {} reads blank, though it was formatted and saved to", area)
                        : fmt::format("area {} does not open: {}", area, status_name(status)));
    }

    void have(const BenchLine& line, const RecordKey& key) {
        RecordModel& model = models_[key];
        RecordCount& count = report_.records[key];
        const std::string& what = line.arguments[2];
        const auto read = number(line, 2);
        const uint32_t bits = number(line, 3).value_or(32);
        model.seen_in_start = true;
        count.read_back++;
        count.gone += line.arguments.size() > 4 && line.arguments[4] == "gone" ? 1 : 0;
        const std::string name = fmt::format("record {} of area {}", key.second, key.first);
        if (!read && what != "default") {
            fault(line, what == "fault" ? fmt::format("{} cannot be read", name)
                                        : fmt::format("{} reads as something that was never saved", name));
            model.known = false;
            return;
        }
        const Contents found = read;
        const auto is = [&](const Contents& wanted) {
            return found.has_value() == wanted.has_value() && (!found || low_bits(*wanted, bits) == *found);
        };
        const bool is_new = model.being_put && is(Contents(*model.being_put));
        if (!model.known && formatted_.contains(key.first)) { model = {true, {Contents{}}, model.being_put, true}; }
        if (model.known && !is_new && std::none_of(model.allowed.begin(), model.allowed.end(), is)) {
            std::string wanted;
            for (const Contents& one : model.allowed) { wanted += (wanted.empty() ? "" : " or ") + show(one); }
            if (model.being_put) { wanted += fmt::format(" or {}, which was being saved", *model.being_put); }
            fault(line, fmt::format("{} reads as {}; {} was saved", name, show(found), wanted));
        }
        count.cut_read_new += is_new ? 1 : 0;
        if (lazy_ && model.known && model.being_put) {
            model.allowed.emplace_back(*model.being_put); // a lazy start has not decided yet
        } else if (!lazy_ || !model.known) {
            model.allowed = {found};
        }
        model.known = true;
        model.being_put.reset();
    }

    void ready(const BenchLine& line) {
        for (const auto& [key, model] : models_) {
            if (!model.seen_in_start && !unsure_) {
                fault(line, fmt::format("record {} of area {} was not read at this start", key.second, key.first));
            }
        }
        phase_ = Phase::running;
    }

    void put(const RecordKey& key, uint32_t contents) {
        RecordModel& model = models_[key];
        if (model.being_put && contents != *model.being_put) { // its "done" is not in the log, and it went on
            model.allowed = {Contents(*model.being_put)};
            report_.records[key].acknowledged++;
        }
        model.being_put = contents;
    }

    void done(const BenchLine& line, const RecordKey& key, uint32_t contents, uint32_t status) {
        RecordModel& model = models_[key];
        model.being_put.reset();
        if (status != status_ok) {
            fault(line, fmt::format("saving {} in record {} of area {} failed with {}", contents, key.second, key.first,
                                    status_name(status)));
            return;
        }
        model.known = true;
        model.allowed = {Contents(contents)};
        report_.records[key].acknowledged++;
    }

    CutLogReport report_;
    std::map<RecordKey, RecordModel> models_;
    std::map<uint32_t, bool> formatted_; ///< areas that were: whether to its end
    Phase phase_ = Phase::before;
    bool lazy_ = false;
    bool unsure_ = false; ///< lines of this start are missing
    std::optional<uint32_t> last_number_;
    uint64_t damaged_in_a_row_ = 0;
};

} // namespace

CutLogReport check_cut_log(const std::vector<BenchLine>& lines) {
    Checker checker;
    for (const BenchLine& line : lines) { checker.take(line); }
    return checker.finish();
}

std::vector<std::string> compare_records(const CutLogReport& report, const std::vector<RecordKey>& wanted) {
    std::vector<std::string> out;
    for (const RecordKey& key : wanted) {
        if (!report.records.contains(key)) {
            out.push_back(fmt::format("record {} of area {} is not in the log", key.second, key.first));
        }
    }
    for (const auto& [key, count] : report.records) {
        if (std::find(wanted.begin(), wanted.end(), key) == wanted.end()) {
            out.push_back(fmt::format("record {} of area {} is not in the project", key.second, key.first));
        }
    }
    return out;
}

} // namespace perdure
