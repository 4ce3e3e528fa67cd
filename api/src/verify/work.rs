//! Calls, the shop's warranty, callbacks, flags and the tally agree with one another.

use std::collections::BTreeMap;

use nameplate_entities::repair_tally;
use sea_orm::{ConnectionTrait, EntityTrait};

use crate::base::Result;
use crate::callbacks::{self, outcomes};

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, RULES).await?;
    findings.extend(tally(tx).await?);
    findings.extend(outcomes(tx).await?);
    Ok(findings)
}

/// What became of repairs follows from the calls, and the counts that rates are read from from that.
async fn outcomes(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let calls = outcomes::outcomes_that_differ(tx, FINDINGS_MAX).await?;
    let cells = outcomes::cells_that_differ(tx, FINDINGS_MAX).await?;
    let of_calls = calls.into_iter().map(|call_id| Finding {
        table: "repair_outcome",
        row: format!("call {call_id}"),
        what: "not what the calls of its machine give".to_owned(),
    });
    let of_cells = cells.into_iter().map(|cell| Finding {
        table: "rate_cell",
        row: format!("{} {}", cell.dimension, cell.group_key),
        what: format!(
            "{} repairs, where a recount gives {}",
            cell.kept, cell.counted
        ),
    });
    Ok(of_calls.chain(of_cells).collect())
}

/// Each kind of repair is counted as a recount counts it. Kinds are few: a shop's list of components and modes.
async fn tally(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut counted: BTreeMap<(i64, i64), (i64, i64, i64)> = callbacks::recount(tx)
        .await?
        .into_iter()
        .map(|count| {
            let kind = (count.component_id, count.failure_mode_id);
            (kind, (count.repairs, count.returned, count.first_days))
        })
        .collect();
    let mut findings = Vec::new();
    for row in repair_tally::Entity::find().all(tx).await? {
        let expected = counted.remove(&(row.component_id, row.failure_mode_id));
        if expected != Some((row.repairs, row.returned, row.first_days)) {
            let (repairs, returned, first_days) = expected.unwrap_or_default();
            findings.push(Finding {
                table: "repair_tally",
                row: row.id.to_string(),
                what: format!(
                    "{} repairs, {} returned and {} days, where a recount gives {repairs}, {returned} and {first_days}",
                    row.repairs, row.returned, row.first_days
                ),
            });
        }
    }
    findings.extend(
        counted
            .into_iter()
            .map(|((component, mode), (repairs, ..))| Finding {
                table: "repair_tally",
                row: format!("component {component}, failure mode {mode}"),
                what: format!("no row, where a recount gives {repairs} repairs"),
            }),
    );
    findings.truncate(FINDINGS_MAX);
    Ok(findings)
}

const RULES: &[Rule] = &[
    Rule {
        table: "service_call",
        what: "a completed call without its day, or a day without being completed",
        sql: "SELECT id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected \
              FROM service_call WHERE (state = 'completed') <> (completed_on IS NOT NULL) \
              OR (completed_on IS NOT NULL) <> (completed_at IS NOT NULL) OR completed_on < opened_on \
              ORDER BY id",
    },
    Rule {
        table: "shop_warranty",
        what: "machine of a warranty against the machine of its completed call",
        sql: "SELECT w.id AS row_id, w.appliance_id AS found, c.appliance_id AS expected \
              FROM shop_warranty w JOIN service_call c ON c.id = w.call_id \
              WHERE c.state <> 'completed' OR w.appliance_id <> c.appliance_id \
              OR w.written_on <> c.completed_on OR w.labour_through < w.written_on \
              OR w.parts_through < w.written_on ORDER BY w.id",
    },
    // A shop that once promised nothing has calls without a warranty, so the check asks that it never did.
    Rule {
        table: "service_call",
        what: "component repaired on a completed call that has no warranty",
        sql: "SELECT c.id AS row_id, CAST(NULL AS BIGINT) AS found, f.component_id AS expected \
              FROM service_call c JOIN finding f ON f.call_id = c.id \
              JOIN failure_mode m ON m.id = f.failure_mode_id \
              WHERE c.state = 'completed' AND m.key <> 'no_fault_found' \
              AND EXISTS (SELECT 1 FROM remedy r WHERE r.finding_id = f.id AND r.method <> 'none') \
              AND NOT EXISTS (SELECT 1 FROM shop_warranty w \
              WHERE w.call_id = c.id AND w.component_id = f.component_id) \
              AND NOT EXISTS (SELECT 1 FROM audit_entry a WHERE a.act = 'changeShop' \
              AND a.after_json LIKE '%\"labour_warranty_days\":0,%' \
              AND a.after_json LIKE '%\"parts_warranty_months\":0,%') \
              GROUP BY c.id, f.component_id ORDER BY c.id, f.component_id",
    },
    Rule {
        table: "callback",
        what: "earlier call of a callback against the call it counts",
        sql: "SELECT b.id AS row_id, b.counted_call_id AS found, b.earlier_call_id AS expected \
              FROM callback b JOIN service_call c ON c.id = b.call_id \
              JOIN service_call e ON e.id = b.earlier_call_id \
              WHERE c.appliance_id <> e.appliance_id OR e.state <> 'completed' OR b.call_id = b.earlier_call_id \
              OR COALESCE(b.counted_call_id, b.earlier_call_id) <> b.earlier_call_id \
              OR (b.state = 'rejected' AND b.class IS NOT NULL) \
              OR (c.state = 'cancelled' AND b.state <> 'rejected') \
              OR (b.state <> 'proposed' AND (b.decided_by IS NULL OR b.decided_at IS NULL)) ORDER BY b.id",
    },
    Rule {
        table: "callback",
        what: "the call that a callback counts against its earlier call, if it is the first confirmed return of that",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT b.id, b.counted_call_id AS found, \
              CASE WHEN b.state = 'confirmed' \
              AND COALESCE(b.class, b.suggested_class, 'related') NOT IN ('unrelated', 'use') \
              AND NOT EXISTS (SELECT 1 FROM callback f \
              WHERE f.earlier_call_id = b.earlier_call_id AND f.state = 'confirmed' \
              AND COALESCE(f.class, f.suggested_class, 'related') NOT IN ('unrelated', 'use') AND f.id < b.id) \
              THEN b.earlier_call_id END AS expected FROM callback b) t \
              WHERE COALESCE(found, 0) <> COALESCE(expected, 0) ORDER BY id",
    },
    Rule {
        table: "flag",
        what: "earlier repairs that a flag rests on",
        sql: "SELECT g.id AS row_id, CAST(0 AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected FROM flag g \
              WHERE NOT EXISTS (SELECT 1 FROM flag_evidence v WHERE v.flag_id = g.id) ORDER BY g.id",
    },
    Rule {
        table: "flag",
        what: "call of a flag against the call of its finding",
        sql: "SELECT g.id AS row_id, g.call_id AS found, f.call_id AS expected FROM flag g \
              JOIN finding f ON f.id = g.finding_id JOIN service_call c ON c.id = g.call_id \
              WHERE f.call_id <> g.call_id OR c.appliance_id <> g.appliance_id \
              OR f.component_id <> g.component_id OR f.failure_mode_id <> g.failure_mode_id ORDER BY g.id",
    },
    Rule {
        table: "flag_evidence",
        what: "an earlier repair that is not of the same machine, component and failure, or not completed",
        sql: "SELECT v.id AS row_id, v.call_id AS found, f.call_id AS expected FROM flag_evidence v \
              JOIN flag g ON g.id = v.flag_id JOIN finding f ON f.id = v.finding_id \
              JOIN service_call c ON c.id = v.call_id \
              WHERE f.call_id <> v.call_id OR g.pattern IS NULL AND (c.id = g.call_id OR c.state <> 'completed' \
              OR c.appliance_id <> g.appliance_id OR f.component_id <> g.component_id \
              OR f.failure_mode_id <> g.failure_mode_id OR v.completed_on <> c.completed_on) ORDER BY v.id",
    },
    Rule {
        table: "flag",
        what: "a flag that does not stand where its last step left it",
        sql: "SELECT g.id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected FROM flag g \
              LEFT JOIN flag_step s ON s.id = (SELECT MAX(x.id) FROM flag_step x WHERE x.flag_id = g.id) \
              WHERE g.state <> COALESCE(s.state, 'open') ORDER BY g.id",
    },
    Rule {
        table: "finding",
        what: "type of the machine against the type its component belongs to",
        sql: "SELECT f.id AS row_id, p.appliance_type_id AS found, a.appliance_type_id AS expected \
              FROM finding f JOIN component p ON p.id = f.component_id \
              JOIN service_call c ON c.id = f.call_id JOIN appliance a ON a.id = c.appliance_id \
              WHERE p.appliance_type_id <> a.appliance_type_id ORDER BY f.id",
    },
];
