declare module "virtual:keys" {
    /** By section: "product", "record", "record.fields" ... */
    const keys: Record<string, { key: string; unit: string; standing: string; meaning: string; example: string }[]>;
    export default keys;
}
