#include "tests/cuts/closure.hpp"

#include <algorithm>
#include <array>
#include <cstring>
#include <deque>
#include <optional>
#include <vector>

#include <absl/container/flat_hash_map.h>
#include <fmt/format.h>

#define XXH_INLINE_ALL
#include <xxhash.h>

#include "dump/decode.hpp"
#include "tests/cuts/tiny_ring.hpp"
#include "unit/unit.hpp"

namespace perdure::tiny {
namespace {

constexpr uint32_t check_bits = 32; // the stamp's code has 16 bits, and so is not the hook's
constexpr uint32_t numbers_a_block = 4;
constexpr uint8_t cycle = 3; ///< different values of a record
constexpr uint32_t records_max = 2;
constexpr uint64_t merges_a_check = 23;
constexpr unsigned formats_in_row = 2; ///< that are cut
constexpr uint8_t none = 0xFF;

/// The store's code over bytes, sequence numbers modulo `Modulus`: they are what a code begins with.
template <uint32_t Modulus> uint32_t check_modulo(uint32_t state, const uint8_t* from, size_t bytes) {
    if (state == 0xFFFFFFFF && bytes == 4) {
        uint32_t number = 0;
        for (uint32_t i = 0; i < 4; i++) { number |= uint32_t{from[i]} << (8 * i); }
        const auto low = static_cast<uint8_t>(number % Modulus);
        const std::array<uint8_t, 4> raw{low, 0, 0, 0};
        return check_by_table(check_bits, state, raw.data(), 4);
    }
    return check_by_table(check_bits, state, from, static_cast<uint32_t>(bytes));
}

template <uint32_t Modulus> uint32_t hook_modulo(void*, uint32_t state, const void* from, uint32_t bytes) {
    return check_modulo<Modulus>(state, static_cast<const uint8_t*>(from), bytes);
}

/// What a cut leaves of a program or an erase. The first are of both.
enum class Tear : uint8_t {
    not_begun,
    complete,
    all_programmed,
    front,
    back,
    even,
    odd,
    all_but_one,
    only_stamp,
    kinds
};

bool is_of(Tear tear, bool erase, bool every) {
    if (!every && (tear == Tear::front || tear == Tear::back || tear == Tear::odd || tear == Tear::all_but_one)) {
        return false;
    }
    switch (tear) {
    case Tear::all_programmed:
    case Tear::only_stamp:
        return erase;
    case Tear::all_but_one:
    case Tear::odd:
        return !erase;
    default:
        return true;
    }
}

struct State {
    std::vector<uint8_t> image, ram;                    ///< ram is empty while there is no power
    std::array<uint8_t, records_max> acked{none, none}; ///< none: never stored
    uint8_t flight = none;                              ///< record that was being put
    uint8_t cuts_left = 0;                              ///< without power: starts that may still be cut
    uint32_t steps = 0;
};

class Closure {
public:
    explicit Closure(const ClosureShape& shape)
        : shape_(shape), modulus_(numbers_a_block * shape.blocks), values_(shape.records),
          records_(make_records(values_)),
          layout_(smallest({shape.blocks, shape.unit_bytes, false, shape.blank, check_bits}, records_)),
          port_{port_read, port_program, port_erase, shape.blocks == 2 ? hook_modulo<8> : hook_modulo<12>, this},
          memory_(layout_, records_, &port_) {}

    ClosureResult run() {
        result_.block_units = layout_.geometry.units_per_ring_block();
        image_.assign(layout_.geometry.area_bytes(), shape_.blank);
        if (perdure_format(&memory_.store, &memory_.config) != PERDURE_OK) { fail("format fails"); }
        State begin;
        meet_on(begin);
        while (!open_.empty() && result_.failure.empty() && result_.states < shape_.states_max) {
            const State state = std::move(open_.front());
            open_.pop_front();
            result_.steps = std::max(result_.steps, state.steps);
            state.ram.empty() ? start(state) : act(state);
        }
        result_.closed = open_.empty() && result_.failure.empty();
        if (result_.closed) { check_merges(); }
        return result_;
    }

private:
    /// What follows on some of the states that were taken as equal to another one has to have been met as well.
    void check_merges() {
        checking_ = true;
        formats_ = shape_.formats_from;
        for (const State& state : merges_) {
            if (!result_.failure.empty()) { break; }
            state.ram.empty() ? start(state) : act(state);
        }
    }

    static std::vector<const Record*> make_records(std::vector<Record>& values) {
        std::vector<const Record*> out;
        for (size_t i = 0; i < values.size(); i++) {
            values[i].name = fmt::format("value{}", i);
            values[i].id = static_cast<uint16_t>(i + 1);
            values[i].fields = {Field{"setting", FieldType::u16, 2, std::nullopt, 0, {}}};
            out.push_back(&values[i]);
        }
        return out;
    }

    // --- the flash ---

    static bool port_read(void* context, uint32_t address, void* to, uint32_t bytes) {
        const auto& self = *static_cast<Closure*>(context);
        std::memcpy(to, self.image_.data() + address, bytes);
        return true;
    }
    static bool port_program(void* context, uint32_t address, const void* unit) {
        return static_cast<Closure*>(context)->operation(address, static_cast<const uint8_t*>(unit));
    }
    static bool port_erase(void* context, uint32_t block) {
        auto& self = *static_cast<Closure*>(context);
        return self.operation(block * self.layout_.geometry.ring_block_bytes(), nullptr);
    }

    /// A program of one unit, or an erase of the block (`unit` is null) at `address`.
    bool operation(uint32_t address, const uint8_t* unit) {
        if (off_) { return false; }
        const bool cut = operations_ == cut_at_;
        operations_++;
        last_is_erase_ = unit == nullptr;
        const uint32_t bytes = unit == nullptr ? layout_.geometry.ring_block_bytes() : shape_.unit_bytes;
        const auto programmed = static_cast<uint8_t>(~shape_.blank);
        uint8_t* now = image_.data() + address;
        if (unit != nullptr) {
            const bool pad = std::all_of(unit, unit + bytes, [&](uint8_t b) { return b == programmed; });
            const bool fresh = std::all_of(now, now + bytes, [&](uint8_t b) { return b == shape_.blank; });
            if (!pad && !fresh) { fail(fmt::format("unit {} is programmed twice", address / shape_.unit_bytes)); }
        }
        const Tear tear = cut ? tear_ : Tear::complete;
        const uint32_t stamp = (16 + shape_.unit_bytes - 1) / shape_.unit_bytes * shape_.unit_bytes;
        for (uint32_t i = 0; i < bytes; i++) {
            const uint8_t aim = unit == nullptr ? shape_.blank : unit[i];
            uint8_t mask = 0; // bits that the operation has reached
            switch (tear) {
            case Tear::not_begun:
                break;
            case Tear::front:
                mask = i < bytes / 2 ? 0xFF : 0;
                break;
            case Tear::back:
                mask = i >= bytes / 2 ? 0xFF : 0;
                break;
            case Tear::even:
                mask = 0x55;
                break;
            case Tear::odd:
                mask = 0xAA;
                break;
            case Tear::all_but_one:
                mask = i + 1 == bytes ? 0x7F : 0xFF;
                break;
            case Tear::only_stamp:
                mask = i < stamp ? 0 : 0xFF;
                break;
            default:
                mask = 0xFF;
            }
            uint8_t reached = aim;
            if (unit != nullptr) { // bits only go one way
                reached =
                    shape_.blank == 0xFF ? static_cast<uint8_t>(now[i] & aim) : static_cast<uint8_t>(now[i] | aim);
            } else if (tear == Tear::all_programmed) {
                reached = programmed;
            }
            now[i] = static_cast<uint8_t>((now[i] & ~mask) | (reached & mask));
        }
        off_ = cut;
        return !cut;
    }

    /// Begins a run in which the power goes in operation `at`, if at all.
    void set(const State& from, uint32_t at, Tear tear) {
        image_ = from.image;
        if (!from.ram.empty()) { memory_.restore(from.ram); }
        off_ = false;
        operations_ = 0;
        cut_at_ = at;
        tear_ = tear;
        result_.runs++;
    }

    /// `run` cut in each of its operations; `then` takes each state.
    template <class Run, class Then> void cut_everywhere(const State& from, uint32_t operations, Run run, Then then) {
        for (uint32_t at = 0; at < operations && result_.failure.empty(); at++) {
            for (auto tear = Tear::not_begun; tear < Tear::kinds; tear = static_cast<Tear>(int(tear) + 1)) {
                set(from, at, tear);
                run();
                if (is_of(tear, last_is_erase_, shape_.every_tear)) { then(); }
            }
        }
    }

    // --- what the product does ---

    static std::array<uint8_t, 2> payload(uint32_t record, uint8_t value) {
        return {static_cast<uint8_t>(value * 37 + 5), static_cast<uint8_t>(record * 64 + value * 11 + 1)};
    }
    static uint8_t next(uint8_t value) { return static_cast<uint8_t>(value == none ? 0 : (value + 1) % cycle); }

    void act(const State& from) {
        State off = from;
        off.ram.clear();
        off.cuts_left = static_cast<uint8_t>(shape_.cuts_in_row);
        image_ = from.image;
        meet_off(off); // the power goes between two calls
        if (formats_++ < shape_.formats_from) { format(from, 0); }
        for (uint32_t record = 0; record <= shape_.records; record++) { // one more: service
            const bool put = record < shape_.records;
            const uint8_t value = put ? next(from.acked[record]) : none;
            perdure_status status = PERDURE_OK;
            const auto run = [&] {
                if (put) {
                    status = perdure_put(&memory_.store, static_cast<uint16_t>(record), payload(record, value).data());
                } else {
                    (void)perdure_service(&memory_.store);
                }
            };
            set(from, UINT32_MAX, Tear::complete);
            run();
            if (status != PERDURE_OK) { fail(fmt::format("a put gives {}", int{status})); }
            const uint32_t operations = operations_;
            State on = from;
            if (put) { on.acked[record] = value; }
            if (read_all(on)) { meet_on(on); }
            State cut = off;
            cut.flight = put ? static_cast<uint8_t>(record) : none;
            cut_everywhere(from, operations, run, [&] { meet_off(cut); });
        }
    }

    /// The area as it was, or begun afresh, or to be formatted again: what store.h says of a format that was cut.
    void format(const State& from, unsigned cut_before) {
        perdure_status status = PERDURE_OK;
        const auto run = [&] { status = perdure_format(&memory_.store, &memory_.config); };
        State fresh = from;
        fresh.acked = {none, none};
        set(from, UINT32_MAX, Tear::complete);
        run();
        if (status != PERDURE_OK) { return fail(fmt::format("a format gives {}", int{status})); }
        const uint32_t operations = operations_;
        if (read_all(fresh)) { meet_on(fresh); }
        if (cut_before == formats_in_row) { return; }
        State cut = from;
        cut.ram.clear();
        cut_everywhere(from, operations, run, [&] {
            rebase();
            cut.image = image_;
            if (met_.emplace(key_of(cut, static_cast<uint8_t>(1 + cut_before)), 0).second) {
                result_.cut_formats++;
                start_after_format(cut, fresh, cut_before + 1);
            }
        });
    }
    void start_after_format(const State& from, const State& fresh, unsigned cuts) {
        set(from, UINT32_MAX, Tear::complete);
        const perdure_status status = perdure_open(&memory_.store, &memory_.config, PERDURE_WRITE);
        if (status == PERDURE_OK) {
            std::array<uint8_t, 2> value{};
            bool any = false;
            for (uint16_t i = 0; i < shape_.records; i++) {
                any = any || perdure_get(&memory_.store, i, value.data()) == PERDURE_OK;
            }
            const State& is = any ? from : fresh;
            if (read_all(is)) { meet_on(is); }
            return;
        }
        const bool no_stamp = shape_.blocks == 2 && cuts >= 2;
        if (status != PERDURE_BLANK && !(status == PERDURE_FOREIGN && no_stamp)) {
            return fail(fmt::format("a start after a format that was cut gives {}", int{status}));
        }
        format(from, cuts);
    }

    void start(const State& from) {
        perdure_status status = PERDURE_OK;
        const auto run = [&] { status = perdure_open(&memory_.store, &memory_.config, PERDURE_WRITE); };
        set(from, UINT32_MAX, Tear::complete);
        run();
        if (status != PERDURE_OK) { return fail(fmt::format("a start gives {}", int{status})); }
        const uint32_t operations = operations_;
        State on = from;
        on.flight = none;
        on.cuts_left = 0;
        std::array<uint8_t, 2> value{};
        if (from.flight != none) {
            const uint8_t put = next(from.acked[from.flight]);
            const perdure_status got = perdure_get(&memory_.store, from.flight, value.data());
            if (got == PERDURE_OK && value == payload(from.flight, put)) { on.acked[from.flight] = put; }
        }
        if (read_all(on)) { meet_on(on); }
        if (from.cuts_left == 0) { return; }
        State cut = from;
        cut.cuts_left--;
        cut_everywhere(from, operations, run, [&] { meet_off(cut); });
    }

    void decode() {
        const CheckFunction check = shape_.blocks == 2 ? check_modulo<8> : check_modulo<12>;
        const AreaShape area{shape_.blocks, result_.block_units, shape_.unit_bytes, check_bits, shape_.blank};
        decoder_.decode({area, image_, {}, check}, decoded_);
    }

    /// Does every record read as `state` says, to the store and to the reader of dumps?
    bool read_all(const State& state) {
        decode();
        for (uint32_t i = 0; i < shape_.records; i++) {
            std::array<uint8_t, 2> value{};
            const perdure_status got = perdure_get(&memory_.store, static_cast<uint16_t>(i), value.data());
            const std::vector<uint8_t>* dump = decoded_.find(i + 1);
            const bool stored = state.acked[i] != none;
            const bool same = stored ? got == PERDURE_OK && value == payload(i, state.acked[i]) && dump != nullptr &&
                                           std::equal(dump->begin(), dump->end(), value.begin(), value.end())
                                     : got == PERDURE_DEFAULT && dump == nullptr;
            if (!same) {
                fail(fmt::format("value {} reads {:02X} {:02X} with status {}, not number {} of its cycle, or the "
                                 "reader of dumps does not agree; after {} steps",
                                 i, value[0], value[1], int{got}, int{state.acked[i]}, state.steps));
                return false;
            }
        }
        return true;
    }

    // --- states ---

    /// Takes off what grows without end; see the head of closure.hpp.
    uint32_t rebase() {
        const uint32_t block_bytes = layout_.geometry.ring_block_bytes();
        uint32_t least = UINT32_MAX;
        std::vector<uint8_t*> stamps;
        for (uint32_t block = 0; block < shape_.blocks; block++) {
            uint8_t* stamp = image_.data() + size_t{block} * block_bytes;
            const uint32_t code = check_by_table(16, 0xFFFF0000, stamp, 14) >> 16;
            if (code != (stamp[14] | uint32_t{stamp[15]} << 8)) { continue; }
            stamps.push_back(stamp);
            least = std::min(least, number_in(stamp));
        }
        const uint32_t off = least != UINT32_MAX && least > 2 * modulus_ ? modulus_ : 0;
        for (uint8_t* stamp : stamps) {
            const uint32_t number = number_in(stamp) - off;
            for (uint32_t i = 0; i < 4; i++) { stamp[7 + i] = static_cast<uint8_t>(number >> (8 * i)); }
            std::fill(stamp + 11, stamp + 14, uint8_t{0});
            const uint32_t code = check_by_table(16, 0xFFFF0000, stamp, 14) >> 16;
            stamp[14] = static_cast<uint8_t>(code);
            stamp[15] = static_cast<uint8_t>(code >> 8);
        }
        return off;
    }
    static uint32_t number_in(const uint8_t* stamp) {
        uint32_t number = 0;
        for (uint32_t i = 0; i < 4; i++) { number |= uint32_t{stamp[7 + i]} << (8 * i); }
        return number;
    }

    void meet_on(State state) {
        const uint32_t off = rebase();
        perdure_store& store = memory_.store;
        store.sequence -= off;
        store.programs = 0; // counted for the health record only
        store.recovered = 0;
        store.write_place = store.write_check = store.write_fill = 0; // of the put that has returned
        store.write_ok = false;
        store.write_bits = 0;
        store.newest_index = 0; // of the start that is done
        store.newest_place = store.newest_from = 0;
        memory_.save(state.ram);
        meet(state);
    }
    void meet_off(State state) {
        rebase();
        meet(state);
    }
    using Key = std::pair<uint64_t, uint64_t>;
    Key key_of(const State& state, uint8_t format) {
        XXH3_state_t hash;
        XXH3_128bits_reset(&hash);
        hash_flash(hash);
        XXH3_128bits_update(&hash, state.ram.data(), state.ram.size());
        const std::array<uint8_t, 6> rest{state.acked[0],  state.acked[1], state.flight,
                                          state.cuts_left, format,         static_cast<uint8_t>(state.ram.empty())};
        XXH3_128bits_update(&hash, rest.data(), rest.size());
        const XXH128_hash_t key = XXH3_128bits_digest(&hash);
        return {key.low64, key.high64};
    }
    void meet(State& state) {
        state.image = image_;
        const uint64_t whole = XXH3_64bits(image_.data(), image_.size());
        const Key key = key_of(state, 0);
        if (checking_) {
            result_.checked++;
            if (!met_.contains(key)) { fail("two states that count as one lead to different ones"); }
            return;
        }
        const auto [at, is_new] = met_.emplace(key, whole);
        if (!is_new) {
            if (at->second != whole && ++merged_ % merges_a_check == 0) { merges_.push_back(std::move(state)); }
            return;
        }
        result_.states++;
        state.steps++;
        open_.push_back(std::move(state));
    }

    /// The flash without what makes no difference any more: units before the ring's newest entry that belong to no
    /// record's newest one, to no mark and to no stamp. Of a block other than the newest entry's, how far it is filled
    /// counts, and all of those units.
    void hash_flash(XXH3_state_t& hash) {
        decode();
        const uint32_t unit_bytes = shape_.unit_bytes;
        const uint32_t stamp_units = (16 + unit_bytes - 1) / unit_bytes;
        keep_.assign(size_t{shape_.blocks} * result_.block_units, 0);
        const auto keep = [&](uint32_t block, uint32_t unit, uint32_t units) {
            const auto from = keep_.begin() + size_t{block} * result_.block_units + unit;
            std::fill(from, from + units, uint8_t{1});
        };
        for (uint32_t block = 0; block < shape_.blocks; block++) { keep(block, 0, stamp_units); }
        std::array<const DumpEntry*, records_max> newest{};
        for (const DumpEntry& entry : decoded_.entries) {
            if (entry.mark || entry.pending) { keep(entry.block, entry.unit, entry.units); }
            if (entry.id && *entry.id <= shape_.records && !entry.voided) { newest[*entry.id - 1] = &entry; }
        }
        for (const DumpEntry* entry : newest) {
            if (entry != nullptr) { keep(entry->block, entry->unit, entry->units); }
        }
        uint32_t largest = 0; // a start puts as many pads
        for (const DumpEntry& entry : decoded_.entries) { largest = std::max(largest, entry.units); }
        XXH3_128bits_update(&hash, &largest, sizeof largest);
        if (!decoded_.entries.empty()) {
            const DumpEntry& last = decoded_.entries.back();
            keep(last.block, last.unit, result_.block_units - last.unit);
        }
        for (uint32_t block = 0; block < shape_.blocks; block++) {
            uint32_t filled = 0;
            for (uint32_t unit = 0; unit < result_.block_units; unit++) {
                const size_t at = size_t{block} * result_.block_units + unit;
                const uint8_t* bytes = image_.data() + at * unit_bytes;
                const bool blank = std::all_of(bytes, bytes + unit_bytes, [&](uint8_t b) { return b == shape_.blank; });
                if (!blank) { filled = unit + 1; }
                if (keep_[at] == 0 || blank) { continue; }
                XXH3_128bits_update(&hash, &at, sizeof at);
                XXH3_128bits_update(&hash, bytes, unit_bytes);
            }
            XXH3_128bits_update(&hash, &filled, sizeof filled);
        }
    }

    void fail(std::string what) {
        if (result_.failure.empty()) { result_.failure = std::move(what); }
    }

    ClosureShape shape_;
    uint32_t modulus_;
    std::vector<Record> values_;
    std::vector<const Record*> records_;
    AreaLayout layout_;
    perdure_port port_;
    StoreMemory memory_;
    std::vector<uint8_t> image_, keep_;
    Decoder decoder_;
    Decoded decoded_;
    absl::flat_hash_map<Key, uint64_t> met_; ///< and a hash of the whole flash of the one that stands for all
    std::deque<State> open_;
    std::vector<State> merges_; ///< one in some of the states that are another one to hash_flash
    uint64_t merged_ = 0;
    bool checking_ = false;
    ClosureResult result_;
    uint32_t formats_ = 0;
    // The run under way.
    uint32_t operations_ = 0, cut_at_ = UINT32_MAX;
    Tear tear_ = Tear::complete;
    bool off_ = false, last_is_erase_ = false;
};

} // namespace

ClosureResult close_over(const ClosureShape& shape) {
    if (shape.blocks < 2 || shape.blocks > 3 || shape.records < 1 || shape.records > records_max) {
        ClosureResult refused;
        refused.failure = "two or three blocks, one or two values";
        return refused;
    }
    return Closure(shape).run();
}

} // namespace perdure::tiny
