// Requests to the program behind the live page. All addresses are relative to the page's own, which holds its token.

export class Refused extends Error {
    constructor(readonly status: number, message: string, readonly body: Record<string, unknown>) {
        super(message);
    }
}

export async function post<T>(what: string, body: object, signal?: AbortSignal): Promise<T> {
    const response = await fetch(what, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal: signal ?? null });
    const answer = (await response.json()) as T & { error?: string };
    if (!response.ok) throw new Refused(response.status, answer?.error ?? `the program answered ${response.status}`, answer as Record<string, unknown>);
    return answer;
}

export async function get<T>(what: string): Promise<T> {
    const response = await fetch(what);
    if (!response.ok) throw new Refused(response.status, `the program answered ${response.status}`, {});
    return (await response.json()) as T;
}

/** Runs the newest request only: while one is under way, the next waits, and those between are dropped. */
export function newest<In>(run: (input: In) => Promise<void>): (input: In) => void {
    let busy = false;
    let waiting: { input: In } | null = null;
    const next = async (input: In) => {
        busy = true;
        try {
            await run(input);
        } finally {
            busy = false;
            const then = waiting;
            waiting = null;
            if (then) void next(then.input);
        }
    };
    return (input) => {
        if (busy) waiting = { input };
        else void next(input);
    };
}
