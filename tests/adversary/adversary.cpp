#include "adversary.hpp"

#include "check_code.hpp"

#include <algorithm>
#include <cstdio>
#include <cstring>

#include <fmt/format.h>

namespace perdure::adversary {
namespace {

using Bytes = std::vector<uint8_t>;

/// What a record may read as.
struct Known {
    Bytes acked;
    bool stored = false; ///< something was stored: get answers PERDURE_OK
    std::optional<Bytes> in_flight;
};

/// What may have become of the area in a format that was cut.
enum class Formatting { no, begun };

enum class Ended { returned, cut, breach };

/// Calls into the store with the power on; tells how the call ended. Nothing between here and the flash has a
/// destructor.
template <typename Call> [[gnu::noinline]] Ended with_power(WorstFlash& flash, const Call& call) {
    switch (setjmp(flash.power)) {
    case 0:
        call();
        return Ended::returned;
    case 1:
        return Ended::cut;
    default:
        return Ended::breach;
    }
}

uint64_t load(const uint8_t* from, uint32_t bytes) {
    uint64_t value = 0;
    for (uint32_t i = bytes; i-- > 0;) { value = (value << 8) | from[i]; }
    return value;
}

void save(uint8_t* to, uint64_t value, uint32_t bytes) {
    for (uint32_t i = 0; i < bytes; i++) { to[i] = static_cast<uint8_t>(value >> (8 * i)); }
}

class Run {
public:
    Run(Family family, uint64_t number, const Options& run_options)
        : options(run_options), random(Random::of_run(number)), drawn(draw_case(family, random)),
          memory(drawn, &flash, run_options.check_code) {
        flash.shape(drawn.unit_bytes, drawn.block_units, drawn.blocks, drawn.blank);
        flash.random = Random::of_run(number ^ 0x5DEECE66Du);
        flash.ecc = drawn.ecc;
        flash.rubbish = family != Family::narrow_8 && family != Family::narrow_16;
        flash.pad_over = static_cast<PadOver>(random.below(3));
        flash.trace = options.trace;
        for (const DrawnRecord& record : drawn.records) { known.push_back({record.defaults, false, std::nullopt}); }
    }

    Outcome outcome() {
        play();
        counts.runs = 1;
        counts.over_weak = flash.over_weak;
        counts.pads_over = flash.pads_over;
        counts.erases = flash.erases;
        counts.programs = flash.programs;
        Outcome result{counts, std::nullopt};
        if (!wrong.empty()) {
            result.failure = Failure{drawn.family, 0, counts.starts, false, wrong, wrong + "\n  " + describe(drawn)};
        }
        return result;
    }

private:
    const Options options;
    Random random;
    DrawnCase drawn;
    WorstFlash flash;
    CaseMemory memory;
    perdure_store store{};
    std::vector<Known> known;
    Counts counts;
    std::string wrong; ///< the first thing that went wrong
    Formatting formatting = Formatting::no;
    bool formatted = false;     ///< a format has been completed
    int64_t start_programs = 0; ///< by the last start that was not cut
    bool wear_counts = true;    ///< erases are held against each other
    uint32_t formats_cut = 0;   ///< in a row, since the last that was completed
    uint64_t format_erases = 0; ///< erases begun by the last format
    uint32_t failing_since = 0; ///< sequence number at which the block began to fail

    bool fail(std::string what) {
        if (wrong.empty()) { wrong = std::move(what); }
        return false;
    }

    /// False after a breach; `cut` says whether the power went.
    template <typename Call> bool call(const char* name, bool& cut, const Call& body) {
        if (options.trace) { std::printf("%s\n", name); }
        const Ended ended = with_power(flash, body);
        cut = ended == Ended::cut;
        return ended != Ended::breach || fail(fmt::format("{}: {}", name, flash.breach));
    }

    void play();
    void arm_cut(uint32_t span);
    bool begin();
    bool power_on_run(bool service, bool& cut);
    bool put(uint32_t index, bool& cut);
    bool put_backward(uint32_t index);
    bool idle(bool& cut);
    void begin_afresh(bool whole);
    bool format(bool& cut);
    bool start();
    bool read_only_start();
    bool open_until_done();
    bool check_records(perdure_store& from, bool settle);
    bool check_formatted(const std::vector<Bytes>& values, bool settle);
    bool check_health();
    bool check_wear();
    void begin_failing();
    Bytes next_value(uint32_t index);
    /// May open say this, so that a format is due? store.h says when a format that was cut leaves a foreign area.
    [[nodiscard]] bool to_format(perdure_status status) const {
        const bool no_stamp_yet = !formatted && format_erases <= 1;
        const bool again_on_two = drawn.blocks == 2 && formats_cut >= 2;
        return formatting == Formatting::begun &&
               (status == PERDURE_BLANK || (status == PERDURE_FOREIGN && (no_stamp_yet || again_on_two)));
    }
    [[nodiscard]] uint32_t depth() const { return drawn.blocks <= 3 ? 1 : 2; }
};

void Run::arm_cut(uint32_t span) {
    flash.cut_in = 1 + random.below(random.one_in(3) ? 4 : span);
    flash.cut_at_erase = -1;
    if (random.one_in(4)) { // at the next erase or a few units after it begins
        flash.cut_in = -1;
        flash.cut_at_erase = random.below(random.one_in(2) ? 8 : 2);
    } else if (random.one_in(12)) {
        flash.cut_in = -1;
    }
}

Bytes Run::next_value(uint32_t index) {
    const DrawnRecord& record = drawn.records[index];
    Bytes value(record.bytes);
    if (record.fields.empty()) {
        for (uint8_t& byte : value) { byte = static_cast<uint8_t>(random.next()); }
        if (random.one_in(8)) { // runs of blank and of all-programmed bytes
            std::fill(value.begin() + random.below(record.bytes), value.end(), random.one_in(2) ? 0xFF : 0x00);
        }
        return value;
    }
    value = known[index].acked;
    uint8_t* at = value.data();
    for (const uint8_t field : record.fields) {
        const uint32_t bytes = 1u << (field >> 6);
        const uint64_t largest = bytes == 8 ? ~uint64_t{0} : (uint64_t{1} << (8 * bytes)) - 1;
        const uint64_t third = ((uint64_t{1} << (field & 63)) - 1) / 3;
        const uint64_t old_value = load(at, bytes);
        // A jump beyond a third of the width must take a full entry.
        uint64_t step = random.one_in(10) ? random.below(1'000'000)
                        : third == 0      ? random.below(3)
                                          : random.next() % (third + 1);
        step = std::min(random.one_in(30) ? third + random.below(3) : step, largest - old_value);
        save(at, old_value + step, bytes);
        at += bytes;
    }
    return value;
}

bool Run::put(uint32_t index, bool& cut) {
    const Bytes value = next_value(index);
    perdure_status status = PERDURE_FAULT;
    counts.puts++;
    if (!call("put", cut, [&] { status = perdure_put(&store, static_cast<uint16_t>(index), value.data()); })) {
        return false;
    }
    if (cut) {
        counts.cut_puts++;
        known[index].in_flight = value;
        return true;
    }
    if (status != PERDURE_OK) {
        return fail(fmt::format("put of record {} gives status {}", index, static_cast<int>(status)));
    }
    known[index].acked = value;
    known[index].stored = true;
    Bytes got(value.size());
    if (perdure_get(&store, static_cast<uint16_t>(index), got.data()) != PERDURE_OK || got != value) {
        return fail(fmt::format("record {} reads otherwise right after its put", index));
    }
    return true;
}

/// A total asked to go backward: refused, nothing programmed, nothing changed.
bool Run::put_backward(uint32_t index) {
    const Known& now = known[index];
    Bytes lower = now.acked;
    const auto digit = std::find_if(lower.begin(), lower.end(), [](uint8_t byte) { return byte != 0; });
    if (digit == lower.end()) { return true; }
    (*digit)--; // a lower digit of one field, the others as they are
    counts.backward++;
    bool cut = false;
    perdure_status status = PERDURE_OK;
    flash.never_change = true;
    const bool kept =
        call("put backward", cut, [&] { status = perdure_put(&store, static_cast<uint16_t>(index), lower.data()); });
    flash.never_change = false;
    Bytes got(lower.size());
    if (!kept || status != PERDURE_BACKWARD) {
        return fail(fmt::format("record {} put backward gives status {}", index, static_cast<int>(status)));
    }
    (void)perdure_get(&store, static_cast<uint16_t>(index), got.data());
    return got == now.acked || fail(fmt::format("record {} changed when put backward", index));
}

bool Run::idle(bool& cut) {
    bool more = true;
    for (uint32_t steps = 0; more; steps++) {
        if (steps > drawn.blocks * (drawn.records.size() + 4)) { return fail("service never comes to an end"); }
        if (!call("service", cut, [&] { more = perdure_service(&store); })) { return false; }
        if (cut) {
            counts.cut_services++;
            return true;
        }
    }
    return true;
}

/// The ring begins at its first block again, with nothing stored. A format that was cut may leave blocks that are
/// erased and yet are erased once more, so that wear is level again only a turn later.
void Run::begin_afresh(bool whole) {
    wear_counts = whole;
    for (uint32_t i = 0; i < known.size(); i++) { known[i] = {drawn.records[i].defaults, false, std::nullopt}; }
    std::fill(flash.wear.begin(), flash.wear.end(), 0);
    std::fill(flash.wear_at_start.begin(), flash.wear_at_start.end(), 0);
}

bool Run::format(bool& cut) {
    perdure_status status = PERDURE_FAULT;
    flash.starting = true; // what a format erases says nothing about how the ring wears
    const uint64_t erases = flash.erases;
    const bool kept = call("format", cut, [&] { status = perdure_format(&store, &memory.config); });
    flash.starting = false;
    if (!kept) { return false; }
    formatting = Formatting::begun;
    format_erases = flash.erases - erases;
    if (cut) {
        counts.cut_formats++;
        formats_cut++;
        return true;
    }
    if (status != PERDURE_OK) { return fail(fmt::format("format gives status {}", static_cast<int>(status))); }
    formatting = Formatting::no;
    formatted = true;
    formats_cut = 0;
    begin_afresh(true);
    return true;
}

/// Puts and idle work until the power goes.
bool Run::power_on_run(bool service, bool& cut) {
    const uint32_t puts_max = drawn.family == Family::many || drawn.family == Family::ring ? 400 : 80;
    for (uint32_t puts = 0; puts < puts_max && !cut; puts++) {
        const uint32_t index = random.one_in(3) ? random.below(static_cast<uint32_t>(known.size())) : 0;
        if (!drawn.records[index].fields.empty() && random.one_in(20) && !put_backward(index)) { return false; }
        if (drawn.family == Family::format && random.one_in(40) && (!format(cut) || cut)) { return wrong.empty(); }
        if (!put(index, cut)) { return false; }
        if (!cut && service && random.one_in(2) && !idle(cut)) { return false; }
    }
    return true;
}

/// After a format that was cut, all records are as before, or none is stored; no mixture.
bool Run::check_formatted(const std::vector<Bytes>& values, bool settle) {
    bool all_old = true;
    bool all_fresh = true;
    for (uint32_t i = 0; i < values.size(); i++) {
        all_old = all_old && values[i] == known[i].acked;
        all_fresh = all_fresh && values[i] == drawn.records[i].defaults;
    }
    if (settle) {
        formatting = Formatting::no;
        formats_cut = 0;
        if (all_fresh) { begin_afresh(false); }
    }
    return all_old || all_fresh || fail("after a format that was cut, the records are neither as before nor fresh");
}

/// Every record reads as acknowledged or as in flight; with `settle`, what it reads as now is what it has to stay.
bool Run::check_records(perdure_store& from, bool settle) {
    std::vector<Bytes> values;
    for (uint32_t i = 0; i < known.size(); i++) {
        Known& k = known[i];
        Bytes got(k.acked.size());
        const perdure_status status = perdure_get(&from, static_cast<uint16_t>(i), got.data());
        if (status != PERDURE_OK && status != PERDURE_DEFAULT) {
            return fail(fmt::format("get of record {} gives status {}", i, static_cast<int>(status)));
        }
        if (formatting == Formatting::no) {
            const bool in_flight = k.in_flight && got == *k.in_flight;
            if (got != k.acked && !in_flight) {
                return fail(fmt::format("record {} (id {}) reads neither as acknowledged nor as in flight{}", i,
                                        drawn.records[i].id, status == PERDURE_DEFAULT ? " but as never stored" : ""));
            }
            if (k.stored && status == PERDURE_DEFAULT) {
                return fail(fmt::format("record {} was stored and reads as never stored", i));
            }
            if (settle) {
                k.acked = got;
                k.stored = status == PERDURE_OK;
                k.in_flight.reset();
            }
        }
        values.push_back(std::move(got));
    }
    return formatting == Formatting::no || check_formatted(values, settle);
}

bool Run::check_health() {
    perdure_health health;
    perdure_get_health(&store, &health);
    const bool failing = flash.failing_block != WorstFlash::none;
    if (health.blocks_bad > (failing ? 1 : 0) || (!failing && health.faults != 0)) {
        return fail(fmt::format("{} blocks set aside, {} faults, on a flash that is {}", health.blocks_bad,
                                health.faults, failing ? "failing in one block" : "sound"));
    }
    if (failing && health.blocks_bad == 1) {
        counts.set_aside = 1;
    } else if (failing && health.sequence > failing_since + 3 * drawn.blocks) {
        return fail("a block that fails is still in use after three turns");
    }
    return true;
}

/// Erases differ by at most one turn, beside those made again at starts. The failing block is no part of it.
bool Run::check_wear() {
    uint32_t least = WorstFlash::none;
    uint32_t most = 0;
    for (uint32_t block = 0; block < drawn.blocks; block++) {
        if (block != flash.failing_block) {
            least = std::min(least, flash.wear[block]);
            most = std::max(most, flash.wear[block] - flash.wear_at_start[block]);
        }
    }
    return !wear_counts || most <= least + 1 || fail(fmt::format("wear is not level: {} and {} erases", least, most));
}

/// A read-only open changes nothing and reads every record as acknowledged or as in flight.
bool Run::read_only_start() {
    perdure_store reader;
    perdure_status status = PERDURE_FAULT;
    bool cut = false;
    counts.read_only++;
    flash.never_change = true;
    const bool kept = call("open read-only", cut, [&] { status = perdure_open(&reader, &memory.config, true); });
    flash.never_change = false;
    if (!kept) { return false; }
    if (to_format(status)) { return true; }
    return status == PERDURE_READ_ONLY ? check_records(reader, false)
                                       : fail(fmt::format("read-only open gives status {}", static_cast<int>(status)));
}

/// Opens, with the power cut again up to depth() times on the way; formats where open says that a format was not
/// finished.
bool Run::open_until_done() {
    uint32_t nested = 0;
    uint32_t formats = 0;
    for (;;) {
        flash.restart();
        if (random.one_in(6) && !read_only_start()) { return false; }
        counts.starts++;
        if (nested < depth() && !random.one_in(3)) { flash.cut_in = random.below(random.one_in(3) ? 30 : 9); }
        if (drawn.family == Family::restarts && flash.cut_in >= 0 && start_programs != 0 && !random.one_in(3)) {
            flash.cut_in = start_programs - 1;
        }
        const uint64_t programs = flash.programs;
        perdure_status status = PERDURE_FAULT;
        bool cut = false;
        flash.starting = true;
        const bool kept = call("open", cut, [&] { status = perdure_open(&store, &memory.config, false); });
        flash.starting = false;
        if (!kept) { return false; }
        start_programs = cut ? start_programs : static_cast<int64_t>(flash.programs - programs);
        if (!cut && to_format(status)) {
            if (++formats >= options.formats_cut_in_a_row) { flash.cut_in = -1; }
            if (!format(cut)) { return false; }
        } else if (!cut && status != PERDURE_OK) {
            return fail(fmt::format("open gives status {}", static_cast<int>(status)));
        }
        if (!cut) { return true; }
        counts.nested++;
        nested++;
    }
}

bool Run::start() {
    if (!open_until_done()) { return false; }
    flash.cut_in = -1;
    return check_records(store, true) && check_health() && check_wear();
}

void Run::begin_failing() {
    flash.failing_block = random.below(drawn.blocks);
    flash.failing_program = random.one_in(2);
    flash.failing_erase = !flash.failing_program || random.one_in(2);
    failing_since = store.sequence;
}

/// The first format; the family that formats has it cut too.
bool Run::begin() {
    bool cut = false;
    if (drawn.family == Family::format && random.one_in(2)) { flash.cut_in = random.below(3 * drawn.blocks + 4); }
    return format(cut) && (!cut || start());
}

void Run::play() {
    const bool large = drawn.family == Family::many || drawn.family == Family::ring;
    const uint32_t span = random.between(1, large                                 ? 2000
                                            : drawn.family == Family::short_turns ? 16
                                            : drawn.family == Family::restarts    ? 8
                                                                                  : 60);
    const bool service = random.one_in(2);
    const uint32_t failing_from = drawn.family == Family::failing ? random.below(options.starts / 2) : WorstFlash::none;
    if (options.trace) { std::printf("%s\n", describe(drawn).c_str()); }
    if (!begin()) { return; }
    for (uint32_t i = 0; i < options.starts; i++) {
        if (i == failing_from) { begin_failing(); }
        bool cut = false;
        arm_cut(span);
        if (!power_on_run(service, cut) || !start()) { return; }
    }
}

} // namespace

Counts& Counts::operator+=(const Counts& more) {
    runs += more.runs;
    starts += more.starts;
    nested += more.nested;
    puts += more.puts;
    cut_puts += more.cut_puts;
    cut_services += more.cut_services;
    cut_formats += more.cut_formats;
    backward += more.backward;
    read_only += more.read_only;
    set_aside += more.set_aside;
    over_weak += more.over_weak;
    pads_over += more.pads_over;
    erases += more.erases;
    programs += more.programs;
    chance += more.chance;
    return *this;
}

Outcome play(Family family, uint64_t run, const Options& options) {
    Outcome outcome = Run(family, run, options).outcome();
    if (!outcome.failure) { return outcome; }
    if (family == Family::narrow_8 || family == Family::narrow_16) {
        Failure& failure = *outcome.failure;
        unsigned passed = 0;
        unsigned same = 0;
        for (unsigned code = 1; code < check_codes && options.check_code == 0; code++) {
            Options other = options;
            other.check_code = code;
            other.trace = false;
            // Did this code come to the same place, and was the loss there too? One that fails earlier says nothing.
            const std::optional<Failure> again = Run(family, run, other).outcome().failure;
            if (again && again->start == failure.start && again->wrong == failure.wrong) {
                same++;
            } else if (!again || again->start > failure.start) {
                passed++;
            }
        }
        failure.chance = passed > same;
    }
    if (outcome.failure->chance) {
        outcome.counts.chance = 1;
        outcome.failure.reset();
        return outcome;
    }
    outcome.failure->run = run;
    outcome.failure->what += fmt::format("\n  replay with: perdure_adversary {} {}", family_name(family), run);
    return outcome;
}

Outcome play_many(Family family, uint64_t first, uint64_t count, const Options& options) {
    Outcome all;
    for (uint64_t run = first; run < first + count && !all.failure; run++) {
        Outcome one = play(family, run, options);
        all.counts += one.counts;
        all.failure = std::move(one.failure);
    }
    return all;
}

} // namespace perdure::adversary
