#include "tests/closure/closure.hpp"

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

#include "tests/closure/closure_state.hpp"
#include "tests/closure/visible_flash.hpp"
#include "tests/cuts/tiny_ring.hpp"

namespace perdure::tiny {
namespace {

using State = ClosureState;

constexpr uint32_t check_bits = 32; // the stamp's code has 16 bits, and so is not the hook's
constexpr uint32_t numbers_a_block = 4;
constexpr uint64_t merges_a_check = 23;
constexpr uint64_t states_a_word = 100'000; ///< gone on from, between two words of progress
constexpr unsigned formats_in_row = 2;      ///< that are cut

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

class Closure {
public:
    explicit Closure(const ClosureShape& shape)
        : shape_(shape), modulus_(numbers_a_block * shape.blocks), values_(shape.records),
          records_(make_records(values_)),
          layout_(smallest({shape.blocks, shape.unit_bytes, false, shape.blank, check_bits}, records_)),
          port_{port_read, port_program, port_erase, shape.blocks == 2 ? hook_modulo<8> : hook_modulo<12>, this},
          memory_(layout_, records_, &port_),
          keys_({shape.blocks, layout_.geometry.units_per_ring_block(), shape.unit_bytes, check_bits, shape.blank},
                shape.blocks == 2 ? check_modulo<8> : check_modulo<12>, shape.records) {
        result_.block_units = layout_.geometry.units_per_ring_block();
        flash_.unit_bytes = shape.unit_bytes;
        flash_.block_bytes = layout_.geometry.ring_block_bytes();
        flash_.blank = shape.blank;
        flash_.image.assign(layout_.geometry.area_bytes(), shape.blank);
    }

    ClosureResult run(const std::function<void(const ClosureResult&, uint64_t)>& told) {
        if (perdure_format(&memory_.store, &memory_.config) != PERDURE_OK) { fail("format fails"); }
        State begin;
        meet_on(begin);
        while (!open_.empty() && result_.failure.empty() && result_.states < shape_.states_max) {
            const State state = std::move(open_.front());
            open_.pop_front();
            result_.steps = std::max(result_.steps, state.steps);
            state.ram.empty() ? start(state) : act(state);
            if (told && ++gone_on_from_ % states_a_word == 0) { told(result_, open_.size()); }
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
        std::memcpy(to, static_cast<Closure*>(context)->flash_.image.data() + address, bytes);
        return true;
    }
    static bool port_program(void* context, uint32_t address, const void* unit) {
        return static_cast<Closure*>(context)->flash_.operation(address, static_cast<const uint8_t*>(unit));
    }
    static bool port_erase(void* context, uint32_t block) {
        VisibleFlash& flash = static_cast<Closure*>(context)->flash_;
        return flash.operation(block * flash.block_bytes, nullptr);
    }

    /// Begins a run in which the power goes in operation `at`, if at all.
    void set(const State& from, uint32_t at, Tear tear) {
        flash_.image = from.image;
        if (!from.ram.empty()) { memory_.restore(from.ram); }
        flash_.begin(at, tear);
        result_.runs++;
    }

    /// `run` cut in each of its operations; `then` takes each state.
    template <class Run, class Then> void cut_everywhere(const State& from, uint32_t operations, Run run, Then then) {
        for (uint32_t at = 0; at < operations && result_.failure.empty(); at++) {
            for (auto tear = Tear::not_begun; tear < Tear::kinds; tear = static_cast<Tear>(int(tear) + 1)) {
                set(from, at, tear);
                run();
                if (!flash_.wrong.empty()) { fail(flash_.wrong); }
                if (is_of(tear, flash_.last_is_erase, shape_.every_tear)) { then(); }
            }
        }
    }

    // --- what the product does ---

    void act(const State& from) {
        State off = from;
        off.ram.clear();
        off.cuts_left = static_cast<uint8_t>(shape_.cuts_in_row);
        flash_.image = from.image;
        meet_off(off); // the power goes between two calls
        if (formats_++ < shape_.formats_from) { format(from, 0); }
        for (uint32_t record = 0; record <= shape_.records; record++) { // one more: service
            const bool put = record < shape_.records;
            const uint8_t value = put ? value_after(from.acked[record]) : not_stored;
            perdure_status status = PERDURE_OK;
            const auto run = [&] {
                if (put) {
                    status =
                        perdure_put(&memory_.store, static_cast<uint16_t>(record), payload_of(record, value).data());
                } else {
                    (void)perdure_service(&memory_.store);
                }
            };
            set(from, UINT32_MAX, Tear::complete);
            run();
            if (status != PERDURE_OK) { fail(fmt::format("a put gives {}", int{status})); }
            const uint32_t operations = flash_.operations;
            State on = from;
            if (put) { on.acked[record] = value; }
            if (read_all(on)) { meet_on(on); }
            State cut = off;
            cut.flight = put ? static_cast<uint8_t>(record) : not_stored;
            cut_everywhere(from, operations, run, [&] { meet_off(cut); });
        }
    }

    /// The area as it was, or begun afresh, or to be formatted again: what store.h says of a format that was cut.
    void format(const State& from, unsigned cut_before) {
        perdure_status status = PERDURE_OK;
        const auto run = [&] { status = perdure_format(&memory_.store, &memory_.config); };
        State fresh = from;
        fresh.acked = {not_stored, not_stored};
        set(from, UINT32_MAX, Tear::complete);
        run();
        if (status != PERDURE_OK) { return fail(fmt::format("a format gives {}", int{status})); }
        const uint32_t operations = flash_.operations;
        if (read_all(fresh)) { meet_on(fresh); }
        if (cut_before == formats_in_row) { return; }
        State cut = from;
        cut.ram.clear();
        cut_everywhere(from, operations, run, [&] {
            rebase();
            cut.image = flash_.image;
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
        const uint32_t operations = flash_.operations;
        State on = from;
        on.flight = not_stored;
        on.cuts_left = 0;
        std::array<uint8_t, 2> value{};
        if (from.flight != not_stored) {
            const uint8_t put = value_after(from.acked[from.flight]);
            const perdure_status got = perdure_get(&memory_.store, from.flight, value.data());
            if (got == PERDURE_OK && value == payload_of(from.flight, put)) { on.acked[from.flight] = put; }
        }
        if (read_all(on)) { meet_on(on); }
        if (from.cuts_left == 0) { return; }
        State cut = from;
        cut.cuts_left--;
        cut_everywhere(from, operations, run, [&] { meet_off(cut); });
    }

    /// Does every record read as `state` says, to the store and to the reader of dumps?
    bool read_all(const State& state) {
        const Decoded& decoded = keys_.decoded_of(flash_.image);
        for (uint32_t i = 0; i < shape_.records; i++) {
            std::array<uint8_t, 2> value{};
            const perdure_status got = perdure_get(&memory_.store, static_cast<uint16_t>(i), value.data());
            const std::vector<uint8_t>* dump = decoded.find(i + 1);
            const bool stored = state.acked[i] != not_stored;
            const bool same = stored ? got == PERDURE_OK && value == payload_of(i, state.acked[i]) && dump != nullptr &&
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
            uint8_t* stamp = flash_.image.data() + size_t{block} * block_bytes;
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
    StateKeys::Key key_of(const State& state, uint8_t format) {
        return keys_.key_of(state, flash_.image, memory_, format);
    }
    void meet(State& state) {
        state.image = flash_.image;
        const uint64_t whole = XXH3_64bits(flash_.image.data(), flash_.image.size());
        const StateKeys::Key key = key_of(state, 0);
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
    StateKeys keys_;
    VisibleFlash flash_;
    absl::flat_hash_map<StateKeys::Key, uint64_t>
        met_; ///< and a hash of the whole flash of the one that stands for all
    std::deque<State> open_;
    std::vector<State> merges_; ///< one in some of the states that are another one to hash_flash
    uint64_t merged_ = 0, gone_on_from_ = 0;
    bool checking_ = false;
    ClosureResult result_;
    uint32_t formats_ = 0;
};

} // namespace

ClosureResult close_over(const ClosureShape& shape,
                         const std::function<void(const ClosureResult&, uint64_t open)>& told) {
    if (shape.blocks < 2 || shape.blocks > 3 || shape.records < 1 || shape.records > values_max) {
        ClosureResult refused;
        refused.failure = "two or three blocks, one or two values";
        return refused;
    }
    return Closure(shape).run(told);
}

} // namespace perdure::tiny
