// The search itself: runs the store on a flash that can be wound back, and at each program and erase turns aside to try
// what a cut there leads to.
//
// Nothing is run twice: where the store asks for a program, the search first plays every cut of it with a second store
// in other RAM (a cut product keeps none), winds the flash back, and lets the first store go on. So the run up to a cut
// is shared by all cuts behind it, at each depth.
#pragma once

#include <chrono>
#include <memory>

#include <absl/container/flat_hash_set.h>

#include "cuts/log_model.hpp"
#include "cuts/model.hpp"
#include "cuts/search.hpp"
#include "dump/decode.hpp"
#include "unit/unit.hpp"

namespace perdure {

class Explorer {
public:
    explicit Explorer(const Search& search);
    Explorer(const Explorer&) = delete;
    Explorer& operator=(const Explorer&) = delete;

    SearchResult sequences(const std::vector<Action>& actions, unsigned length);
    SearchResult workload(const std::vector<Action>& actions, unsigned every);

private:
    /// A store in RAM of its own, and room for what is read from it.
    struct Level {
        Level(const Search& search, const perdure_port& port) : memory(search.layout, search.records, &port) {}
        StoreMemory memory;
        std::vector<uint8_t> values, stored, value, kept;
        LogReading log, kept_log;
    };
    /// What follows a start that completed.
    enum class Follow : uint8_t { all, nothing };
    /// What a step of a path says, in its lowest three bits; the rest is a number.
    enum class Turn : uint8_t { action, cut_before, cut_inside, reading, after, stay, next, save };
    /// When, in an operation that the store asks for, the interrupt comes that saves a record; from `torn` on it is
    /// torn, and reads as in one of several ways.
    enum class SaveAt : uint8_t { instead, before, behind, in_a_read, torn };
    static constexpr unsigned save_kinds = 8;
    static constexpr uint64_t no_save = UINT64_MAX;
    struct Key {
        StateHash hash;
        bool operator==(const Key&) const = default;
        template <class H> friend H AbslHashValue(H h, const Key& key) {
            return H::combine(std::move(h), key.hash.low, key.hash.high);
        }
    };

    static std::string_view status_name(perdure_status status);
    static bool port_read(void* context, uint32_t address, void* to, uint32_t bytes);
    static bool port_program(void* context, uint32_t address, const void* unit);
    static bool port_erase(void* context, uint32_t block);

    Level& level(size_t number);
    void cuts_here(CutOperation operation, uint32_t where, const uint8_t* unit);
    void starts(int depth, Follow follow);
    void trial(int depth, Follow follow);
    void complete(Level& l);
    void puts_after_start(Level& l);
    [[nodiscard]] bool plays_a_later_put(uint64_t i) const;
    void run(Level& l, const Action& action, int cuts);
    void put(Level& l, const Action& action);
    perdure_status put_at(Level& l, uint16_t record, Step step);
    bool operation(CutOperation operation, uint32_t where, const uint8_t* unit);
    bool do_operation(CutOperation operation, uint32_t where, const uint8_t* unit);
    bool interrupted_operation(CutOperation operation, uint32_t where, const uint8_t* unit);
    void save_now();
    void saves_in(const Action& action, const std::vector<uint8_t>& ram, const Model& model, const LogModel& log);
    bool lazy_start(Level& l, int depth, Follow follow);
    bool judge_all(Level& l, uint32_t pending);
    void read_log(Level& l, LogReading& to, uint32_t from) const;
    bool read_whole_log(Level& l);
    bool log_agrees_with_dump(const Level& l);
    void note_log(Level& l);
    void settle_log(const LogReading& log);
    [[nodiscard]] uint64_t drawn() const;
    [[nodiscard]] uint16_t drawn_record() const;
    bool read_all(Level& l);
    bool agrees_with_dump(const Level& l);
    bool read_only_start(Level& l);
    [[nodiscard]] Outcome outcome_of(const Level& l) const;
    void count_cell(const Level& l, unsigned hit);
    void note_first_action();
    void note_start();
    void note_outcome(const Level& l);
    [[nodiscard]] AreaView view() const;
    void sequence(const std::vector<Action>& actions, unsigned left);
    bool moves_on(Level& l, const Action& action);
    void prepare();
    void use(uint32_t room_left, uint64_t sequence);
    bool meet(StateHash hash, int depth, unsigned more);
    bool enter(Turn turn, uint64_t number);
    void leave() { path_.pop_back(); }
    void fail(std::string what);
    bool was_chance();
    void say(std::string line);
    [[nodiscard]] bool time_is_up(unsigned every);
    SearchResult result();

    Search search_;
    ForkingFlash flash_;
    perdure_port port_{};
    std::vector<std::unique_ptr<Level>> levels_;
    Model model_;
    LogModel log_model_;
    std::optional<uint16_t> log_; ///< place of the log, if there is one
    Decoder decoder_;
    Decoded decoded_;
    absl::flat_hash_set<Key> met_;
    SearchCounts counts_;
    std::vector<uint64_t> path_;
    std::vector<CellCase> cases_;
    std::optional<SearchFailure> failure_;
    bool stopped_ = false; ///< a failure, or the time: everything unwinds
    bool judged_ = false;  ///< failure_ is no chance match
    bool complete_ = true;
    double share_ = 0;
    double share_of_ = 1; ///< of the whole, what the sequence takes that is gone into now
    // Where the search is now.
    size_t level_ = 0;
    int cuts_ = -1; ///< cuts that may come in the starts after one here; below 0: none here
    unsigned chain_ = 0;
    uint32_t operation_ = 0;            ///< number of the next program or erase within the call
    uint64_t asked_for_ = 0, read_ = 0; ///< operations and reads of this action, without those of a save
    uint64_t save_at_ = no_save;        ///< number of the operation or read in which the interrupt comes
    SaveAt save_kind_ = SaveAt::instead;
    uint64_t save_way_ = 0; ///< in which way the torn operation reads
    bool saving_ = false, saved_ = false;
    CutCall call_ = CutCall::put;
    std::optional<std::pair<CutCall, CutOperation>> first_cut_;
    std::vector<uint8_t> before_;
    std::chrono::steady_clock::time_point begun_ = std::chrono::steady_clock::now();
    uint64_t asked_ = 0, shown_ = 0; ///< trials, to look at the clock, and to say how far it is, in some of them
    // What was asked for, to play a path of it again under other check codes.
    const std::vector<Action>* actions_ = nullptr;
    unsigned length_ = 0;
    bool is_workload_ = false;
    std::vector<std::string> story_;
    size_t walked_ = 0;    ///< steps of that path that were found
    size_t earlier_ = 0;   ///< lines of the story before its first action
    size_t played_at_ = 0; ///< length of the path at the start that played_ is of
    std::optional<PlayedCase> played_;
};

} // namespace perdure
