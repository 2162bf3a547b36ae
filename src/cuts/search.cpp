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

SearchResult search_sequences(const Search& search, const std::vector<Action>& actions, unsigned length) {
    return Explorer(search).sequences(actions, length);
}

SearchResult search_workload(const Search& search, const std::vector<Action>& actions, unsigned every) {
    return Explorer(search).workload(actions, every);
}

} // namespace perdure
