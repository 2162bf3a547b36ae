#include "cuts/search.hpp"

#include <algorithm>
#include <tuple>

#include "cuts/explorer.hpp"

namespace perdure {

std::string_view name_of(Begin begin) {
    constexpr std::array<std::string_view, begin_kinds> names{"fresh", "nearly full", "wrapped", "bad block",
                                                              "failing"};
    return names[static_cast<size_t>(begin)];
}

std::string_view name_of(CutCall call) {
    constexpr std::array<std::string_view, cut_calls> names{"put", "service", "start"};
    return names[static_cast<size_t>(call)];
}

std::string_view name_of(CutOperation operation) {
    constexpr std::array<std::string_view, cut_operations> names{"program", "erase", "between"};
    return names[static_cast<size_t>(operation)];
}

std::string_view reading_name(unsigned reading) {
    if (reading < reading_kinds) { return name_of(static_cast<Reading>(reading)); }
    if (reading < reading_kinds + torn_erase_kinds) { return name_of(static_cast<TornErase>(reading - reading_kinds)); }
    return "not begun";
}

SearchCounts& SearchCounts::operator+=(const SearchCounts& more) {
    actions += more.actions;
    cuts += more.cuts;
    trials += more.trials;
    starts += more.starts;
    saves += more.saves;
    equal += more.equal;
    sampled += more.sampled;
    torn += more.torn;
    chance += more.chance;
    for (size_t call = 0; call < cut_calls; call++) {
        for (size_t operation = 0; operation < cut_operations; operation++) {
            for (size_t reading = 0; reading < cut_readings; reading++) {
                Cell& to = cells[call][operation][reading];
                const Cell& from = more.cells[call][operation][reading];
                to.as_before += from.as_before;
                to.as_new += from.as_new;
                to.nothing += from.nothing;
            }
        }
    }
    return *this;
}

void add_cases(std::vector<CellCase>& to, const std::vector<CellCase>& more) {
    const auto place = [](const CellCase& one) {
        return std::tuple(one.call, one.operation, one.reading, one.outcome);
    };
    for (const CellCase& one : more) {
        const auto same = [&](const CellCase& known) { return place(known) == place(one); };
        if (std::none_of(to.begin(), to.end(), same)) { to.push_back(one); }
    }
}

void SearchResult::add(SearchResult&& more) {
    counts += more.counts;
    add_cases(cases, more.cases);
    complete = complete && more.complete;
    share = std::min(share, more.share);
    if (more.failure && (!failure || more.failure->path.size() < failure->path.size())) {
        failure = std::move(more.failure);
    }
}

SearchResult search_sequences(const Search& search, const std::vector<Action>& actions, unsigned length) {
    return Explorer(search).sequences(actions, length);
}

SearchResult search_workload(const Search& search, const std::vector<Action>& actions, unsigned every) {
    return Explorer(search).workload(actions, every);
}

} // namespace perdure
