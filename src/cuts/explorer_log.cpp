// The search's log: reading it, and holding it against the model and the reader of dumps.
#include <algorithm>

#include <fmt/format.h>

#include "cuts/explorer.hpp"

namespace perdure {
namespace {

/// A sample's bytes are all the same; one whose bytes are not is none that was ever appended.
struct Visit {
    LogReading& to;
    uint32_t bytes;
    bool whole = true;
};

bool see(void* context, uint32_t number, const void* sample) {
    auto& visit = *static_cast<Visit*>(context);
    const auto* bytes = static_cast<const uint8_t*>(sample);
    visit.whole = visit.whole && std::all_of(bytes, bytes + visit.bytes, [&](uint8_t b) { return b == bytes[0]; });
    visit.to.samples.push_back({number, bytes[0]});
    return true;
}

} // namespace

void Explorer::read_log(Level& l, LogReading& to, uint32_t from) const {
    to.samples.clear();
    to.next = perdure_log_next(&l.memory.store, *log_);
    Visit visit{to, l.memory.config.records[*log_].bytes};
    std::vector<uint8_t> sample(visit.bytes);
    perdure_read_log(&l.memory.store, *log_, from, see, &visit, sample.data());
    if (!visit.whole) { to.next = UINT32_MAX; } // judged as wrong whatever else it says
}

/// Reads the log, and the newer half of it once more, which has to be the same.
bool Explorer::read_whole_log(Level& l) {
    if (!log_) { return true; }
    read_log(l, l.log, 0);
    if (l.log.samples.size() < 2) { return true; }
    LogReading half;
    const size_t middle = l.log.samples.size() / 2;
    read_log(l, half, l.log.samples[middle].number);
    if (half.samples.size() == l.log.samples.size() - middle &&
        std::equal(half.samples.begin(), half.samples.end(), l.log.samples.begin() + static_cast<ptrdiff_t>(middle))) {
        return true;
    }
    fail(fmt::format("the log read from sample {} on is not the end of the whole", l.log.samples[middle].number));
    return false;
}

bool Explorer::log_agrees_with_dump(const Level& l) {
    if (!log_) { return true; }
    LogReading dump;
    const auto* record = search_.records[*log_];
    for (const DumpEntry* entry : decoded_.log_entries(record->id)) {
        const size_t bytes = entry->payload.size() / entry->log->count;
        for (uint32_t i = 0; i < entry->log->count; i++) {
            dump.samples.push_back({entry->log->number + i, entry->payload[i * bytes]});
        }
    }
    for (const DumpRecord& one : decoded_.records) {
        if (one.id == record->id && one.present) { dump.next = one.log_next.value_or(UINT32_MAX); }
    }
    if (dump == l.log) { return true; }
    fail(fmt::format("record '{}': the reader of dumps sees {} samples before {}, the store {} before {}", record->name,
                     dump.samples.size(), dump.next, l.log.samples.size(), l.log.next));
    return false;
}

/// After an action that was not cut: the log has to be what the model says, and that is where its samples lie.
void Explorer::note_log(Level& l) {
    if (!log_ || !read_whole_log(l)) { return; }
    const std::string wrong = log_model_.judge(l.log);
    if (!wrong.empty()) {
        return fail(fmt::format("record '{}', read at once, {}", search_.records[*log_]->name, wrong));
    }
    settle_log(l.log);
}

void Explorer::settle_log(const LogReading& log) {
    if (!log_) { return; }
    decoder_.decode(view(), decoded_);
    std::vector<uint32_t> blocks;
    for (const DumpEntry* entry : decoded_.log_entries(search_.records[*log_]->id)) {
        blocks.insert(blocks.end(), entry->log->count, entry->block);
    }
    if (blocks.size() != log.samples.size()) {
        return fail("the reader of dumps and the store do not agree on the log after an action");
    }
    log_model_.settle(log, blocks);
}

} // namespace perdure
