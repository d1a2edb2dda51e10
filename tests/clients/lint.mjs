// Hold an API document against all rules that Redocly recommends, warnings included.
//
// Usage: node lint.mjs openapi.json

import { createConfig, formatProblems, getTotals, lint } from "@redocly/openapi-core";

const config = await createConfig({ extends: ["recommended-strict"] });
const problems = await lint({ ref: process.argv[2], config });
formatProblems(problems, { format: "stylish", totals: getTotals(problems), version: "" });
process.exitCode = problems.length ? 1 : 0;
