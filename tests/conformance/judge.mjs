// Compares what differs with what is known to differ.

const STRICT = new Set(["MUST", "SAFE"]);

/** Sentences that each fail the step: differences nobody explained, and explanations nobody needs. */
export function judge(results, known) {
  const complaints = [];
  const failed = new Set();
  for (const { mode, id, level, title, ok, detail } of results) {
    if (ok) continue;
    failed.add(id);
    if (STRICT.has(level)) complaints.push(`${mode} ${level} ${id}: ${title} (${detail})`);
    else if (!known.some((entry) => entry.id === id)) complaints.push(`${mode} ${level} ${id}, which known-differences.json does not explain: ${title} (${detail})`);
  }
  for (const { id, reason } of known) {
    const found = results.find((result) => result.id === id);
    if (!found) complaints.push(`known-differences.json explains ${id}, which nobody checks`);
    else if (STRICT.has(found.level)) complaints.push(`known-differences.json explains ${id}, but a ${found.level} cannot be explained away`);
    else if (!failed.has(id)) complaints.push(`known-differences.json explains ${id}, which now passes: take it out`);
    if (!reason?.trim()) complaints.push(`known-differences.json gives no reason for ${id}`);
  }
  return complaints;
}
