// The result document as src/dossier writes it. Figures that are not finite are null.

export type Status = "holds" | "fails" | "unknown" | "informs";

export interface Source {
    what: string;
    value: number | null;
    unit: string;
    kind: "part" | "file" | "formula" | "assumption";
    source: string;
    from_memory: boolean;
}

export interface Finding {
    name: string;
    area: string;
    need: number | null;
    have: number | null;
    margin: number | null;
    margin_min: number;
    unit: string;
    status: Status;
    note: string;
    from_memory: boolean;
    assumed: boolean;
    from: Source[];
}

export interface RecordBudget {
    id: number;
    name: string;
    saves: number;
    saves_nominal: number;
    copies: number | null;
    payload_bytes: number;
    wear_share: number;
    full_units: number;
    short_units: number;
    formulas: string[];
}

export interface AreaBudget {
    name: string;
    laid_out: boolean;
    fewest_blocks: number | null;
    size_found: boolean;
    size_words: string;
    ring_blocks: number;
    ring_block_bytes: number;
    unit_bytes: number;
    area_bytes: number;
    block_s: number | null;
    amplification: number;
    start_share: number;
    mark_share: number;
    waste_share: number;
    longest_life_years: number | null;
    fastest_periodic: number | null;
    records: RecordBudget[];
}

export interface SavePart {
    record: string;
    when: string;
    saves: number | null;
    units: number | null;
    wear_share: number | null;
    loses: string;
}

export interface Loss {
    record: string;
    time_s: number | null;
    why: string;
    by_hold_up: boolean;
    time_otherwise_s: number | null;
    amounts: { what: string; most: number | null; mean: number | null }[];
}

export interface HoldUp {
    units: number;
    need_ms: number;
    have_ms: number | null;
    need_uf: number | null;
    energy_j: number;
    charged_v: number;
    holds: boolean;
    trips: number;
    trips_share: number;
    armed_again_ms: number | null;
}

export interface Budget {
    project: string;
    holds: boolean;
    life_years: number;
    findings: Finding[];
    areas: AreaBudget[];
    saves: SavePart[];
    losses: Loss[];
    hold_up: HoldUp | null;
    caution: string;
}

export interface WearYears {
    area: string;
    years: number[];
    nominal: number[];
    heavy: number[];
    allowed: number;
    guaranteed: number;
}

export interface WhatIf {
    area: string;
    input: "blocks" | "life" | "saves";
    unit: string;
    now: number;
    at: number[];
    erases: number[];
    allowed: number;
}

export interface Stall {
    area: string;
    call: string;
    fresh_ms: number;
    aged_ms: number;
    asked_ms: number | null;
}

export interface Guarantee {
    cycles: number;
    temperature_c: number;
    years: number;
    carried: [number, number][];
}

export interface Decay {
    capacitance_uf: number;
    left_uf: number;
    capacitance_found: boolean;
    step_ms: number;
    nominal_v: number[];
    left_v: number[];
    trips_at_v: number;
    end_v: number;
    detection_ms: number;
    under_way_ms: number;
    programming_ms: number;
}

export interface Curves {
    wear_years: WearYears[];
    stalls: Stall[];
    deadlines: { name: string; limit_ms: number; line: number }[];
    retention: {
        activation_ev: number | null;
        guarantees: Guarantee[];
        profile: { temperature_c: number; share: number; line: number }[];
    };
    supply: Decay | null;
    what_if: WhatIf[] | null;
}

export interface AgedArea {
    area: string;
    holds: boolean;
    extended?: boolean;
    simulated_share?: number;
    saves?: number;
    starts?: number;
    erases_per_block?: number[];
    erases_mean?: number;
    erases_max?: number;
    erases_allowed?: number;
    write_amplification?: number;
    put_longest_ms?: number;
    service_longest_ms?: number;
    open_longest_ms?: number;
    busy_s?: number;
    energy_j?: number | null;
    mismatches?: number;
    failure: string;
    budget?: { erases_predicted: number; erases_observed: number; difference: number; allowed: number; agrees: boolean };
    records?: { name: string; saves: number; checked: number; mismatches: number }[];
}

export interface AgeResult {
    holds: boolean;
    areas: AgedArea[];
}

export interface Outcome {
    cut_in: string;
    operation: string;
    reads: string;
    as_before: number;
    as_new: number;
    nothing_in_flight: number;
    /** By outcome, the first case met, as --replay takes it. Results of earlier versions have none. */
    replay?: Partial<Record<Became, string>>;
}

export type Became = "as_before" | "as_new" | "nothing_in_flight";

/** A case that was played again. */
export interface PlayedCase {
    part: string;
    about: string;
    holds: boolean;
    what?: string;
    reads?: string;
    steps: string[];
    flash_before: string;
    flash_after: string;
}

export interface CutPart {
    name: string;
    about: string;
    depth: number;
    seconds: number;
    complete: boolean;
    share: number;
    counts: {
        cuts: number;
        distinct_trials: number;
        equal: number;
        starts: number;
        sampled: number;
        torn: number;
        chance_matches: number;
        outcomes: Outcome[];
    };
    failure?: { what: string; replay: string };
}

export interface CutArea {
    file: string;
    area: string;
    part: string;
    unit_bytes: number;
    blocks: number;
    block_units: number;
    check_bits: number;
    holds: boolean;
    chance_matches_expected: number;
    parts: CutPart[];
}

export interface CutResult {
    holds: boolean;
    areas: CutArea[];
}

export interface Candidate {
    id: string;
    kind: "own" | "part" | "external";
    maker: string;
    ring_blocks: number;
    ring_block_bytes: number;
    unit_bytes: number;
    bytes: number;
    margin: number | null;
    stall_ms: number | null;
    energy_j_a_day: number | null;
    holds: boolean;
    reasons: string[];
    from_memory: string[];
    note: string;
    on_front: boolean;
    score: number | null;
    behind: string;
    stretch: number;
    policy: string;
    batch?: number | null;
    lazy_start?: boolean;
}

export interface Choice {
    winner: number | null;
    second: number | null;
    passed_over: number[];
    weights: Record<string, number>;
    assumptions: string[];
    candidates: Candidate[];
}

export interface Sensitivity {
    breaking: { input: string; value: number; unit: string; fails_at: number | null; finding: string; distance: number }[];
    mending: { finding: string; change: string; everything_holds: boolean }[];
    no_single_change: string[];
}

export interface Run<T> {
    of_this_file: boolean;
    result: T;
}

export interface Diagnostic {
    file: string;
    line: number;
    column: number;
    message: string;
    expected: string;
    nearest: string;
}

export interface Figure {
    value: string;
    source: string;
    from_memory: boolean;
}

export interface Dossier {
    perdure: string;
    made: string;
    coarse: boolean;
    file: { path: string; sha256: string; text: string };
    holds: boolean;
    errors: Diagnostic[];
    refused: { text: string; line: number } | null;
    project?: {
        product: {
            name: string;
            life_years: number;
            year_days: number;
            starts_per_day: number;
            lazy_start: boolean;
            fleet_units: number;
        };
        areas: { name: string; check_bits: number; size_bytes?: number; start_address?: number }[];
        records: { name: string; id: number; kind: string; area: string; bytes: number; heavy_user: number; line: number }[];
    };
    part?: {
        id: string;
        maker: string;
        family: string;
        example_part: string;
        core: string;
        note: string;
        caution?: string;
        figures: Record<string, Figure>;
    };
    budget?: Budget;
    curves?: Curves;
    runs?: {
        age: Run<AgeResult> | null;
        cut: Run<CutResult> | null;
        choice: Run<Choice> | null;
        sensitivity: Run<{ sensitivity: Sensitivity }> | null;
    };
    risks?: string[];
    assumptions?: string[];
    cautions?: string[];
    commands?: string[];
}

// What the live page has besides.

export interface Part {
    id: string;
    maker: string;
    family: string;
    ready: boolean;
    why_not: string;
}

export type JobName = "age" | "cut" | "choice" | "sensitivity";

export interface JobState {
    state: "idle" | "running" | "done" | "failed" | "cancelled";
    progress: number | null;
    seconds: number;
    error: string;
}

export type JobStates = Record<JobName, JobState>;

export interface LiveDossier extends Dossier {
    live: { parts: Part[]; is_new: boolean; jobs: JobStates };
}

/** Findings of the project with a change that is only tried. */
export interface Tried {
    holds: boolean;
    errors: Diagnostic[];
    refused: { text: string; line: number } | null;
    budget: Budget | null;
}

/** Kind, record (its place in the area, or -1) and text of one unit; what is empty at the end is left out. */
export type Unit = [string, number?, string?];

export interface StepCall {
    do: "put" | "fill" | "service" | "start";
    record?: string;
    count?: number;
    cut_after?: number;
    draw?: number;
}

export interface Steps {
    blocks: number;
    block_units: number;
    unit_bytes: number;
    smaller_ring: boolean;
    left_out: number;
    erases: number[];
    off: boolean;
    said: string;
    took_ms: number;
    reads: number;
    begin: Unit[];
    frames: { what: string; changed: [number, Unit][] }[];
    values: { record: string; text: string; remark: string }[];
}

export interface DumpEntry {
    block: number;
    unit: number;
    state: string;
    short: boolean;
    restart: boolean;
    text: string;
}

export interface DumpArea {
    area: string;
    holds: boolean;
    contents: "ring" | "foreign" | "nothing";
    bytes: number;
    bytes_known: number;
    notes: string[];
    block_units: number;
    units: Unit[];
    wear: { erases: (number | null)[]; most: number; mean: number; left_allowed: number; years_left_budgeted: number | null };
    records: {
        id: number;
        name: string | null;
        stored: boolean;
        differs: string;
        may_be_old: string;
        newest: DumpEntry | null;
        fields: { name: string; unit: string; stored: boolean; value: number | string | null }[];
        history: DumpEntry[];
    }[];
    damage: { cause: string; block: number; unit: number; units: number; harmless: boolean; what: string; why: string }[];
}

export interface DumpRead {
    dump: string;
    format: string;
    holds: boolean;
    dump_bytes: number;
    file_errors: { line: number; column: number; message: string; expected: string }[];
    areas: DumpArea[];
}
