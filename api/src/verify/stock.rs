//! Parts in stock: what moved is what there is, and what it is worth is what the books say.

use futures_util::TryStreamExt;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::PartOrderState;
use nameplate_entities::{part_order, stock_level};
use rust_decimal::Decimal;
use sea_orm::{ConnectionTrait, EntityTrait, FromQueryResult, QueryOrder, Statement, StreamTrait};

use crate::base::Result;

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

pub async fn check(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, RULES).await?;
    for sums in SUMS {
        findings.extend(sums.check(tx).await?);
    }
    findings.extend(levels(tx).await?);
    findings.extend(orders(tx).await?);
    Ok(findings)
}

/// Whether a level is low is kept beside it.
async fn levels(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut rows = stock_level::Entity::find()
        .order_by_asc(stock_level::Column::Id)
        .stream(tx)
        .await?;
    let mut findings = Vec::new();
    while let Some(row) = rows.try_next().await? {
        let is_low = row
            .reorder_point
            .is_some_and(|point| row.quantity.0 < point.0);
        if row.is_low != is_low && findings.len() < FINDINGS_MAX {
            findings.push(Finding {
                table: "stock_level",
                row: row.id.to_string(),
                what: format!(
                    "whether there are too few: {} found, {is_low} expected",
                    row.is_low
                ),
            });
        }
    }
    Ok(findings)
}

/// An order stands as what came of it says, and whether more is to come.
async fn orders(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut rows = part_order::Entity::find()
        .order_by_asc(part_order::Column::Id)
        .stream(tx)
        .await?;
    let mut findings = Vec::new();
    while let Some(row) = rows.try_next().await? {
        let (came, whole) = (row.received_quantity.0, row.quantity.0);
        let expected = if row.closed_because.is_some() {
            if came > Decimal::ZERO {
                PartOrderState::Received
            } else {
                PartOrderState::Cancelled
            }
        } else if came >= whole {
            PartOrderState::Received
        } else {
            PartOrderState::Ordered
        };
        let is_closed = expected != PartOrderState::Ordered;
        let fits = row.state == expected && row.closed_on.is_some() == is_closed;
        if !fits && findings.len() < FINDINGS_MAX {
            findings.push(Finding {
                table: "part_order",
                row: row.id.to_string(),
                what: format!(
                    "how it stands: {:?} found, {expected:?} expected, as {came} of {whole} came",
                    row.state
                ),
            });
        }
    }
    Ok(findings)
}

/// Quantities are exact text, which SQL does not add: rows come in the order of what they are summed by.
struct Sums {
    table: &'static str,
    what: &'static str,
    /// Rows of `row_id`, `moved` and `expected`; an expected quantity is what the rows of one id add up to, or, where it
    /// stands beside each row, what they add up to so far.
    sql: &'static str,
    running: bool,
}

#[derive(FromQueryResult)]
struct Step {
    row_id: i64,
    /// What is summed up, such as a place and a part.
    key_a: i64,
    key_b: i64,
    moved: Exact,
    expected: Option<Exact>,
}

impl Sums {
    async fn check(&self, tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
        let backend = ConnectionTrait::get_database_backend(tx);
        let mut steps = Step::find_by_statement(Statement::from_string(backend, self.sql))
            .stream(tx)
            .await?;
        let mut findings = Vec::new();
        let mut last: Option<(Step, Decimal)> = None;
        while let Some(step) = steps.try_next().await? {
            let before = match &last {
                Some((other, sum)) if (other.key_a, other.key_b) == (step.key_a, step.key_b) => {
                    *sum
                }
                Some((other, sum)) => {
                    self.compare(&mut findings, (other, *sum));
                    Decimal::ZERO
                }
                None => Decimal::ZERO,
            };
            let sum = before.saturating_add(step.moved.0);
            if self.running {
                self.compare(&mut findings, (&step, sum));
            }
            last = Some((step, sum));
        }
        if let Some((step, sum)) = &last {
            self.compare(&mut findings, (step, *sum));
        }
        Ok(findings)
    }

    fn compare(&self, findings: &mut Vec<Finding>, (step, sum): (&Step, Decimal)) {
        let expected = step.expected.map_or(Decimal::ZERO, |exact| exact.0);
        if sum == expected || findings.len() >= FINDINGS_MAX {
            return;
        }
        let what = format!("{}: {} found, {sum} expected", self.what, expected);
        let row = step.row_id.to_string();
        let again = findings.last().is_some_and(|last| last.row == row);
        if !again {
            findings.push(Finding {
                table: self.table,
                row,
                what,
            });
        }
    }
}

const SUMS: &[Sums] = &[
    Sums {
        table: "stock_move",
        what: "pieces at the place after the move",
        sql: "SELECT m.id AS row_id, m.place_id AS key_a, m.part_id AS key_b, m.quantity AS moved, \
              m.place_after AS expected FROM stock_move m WHERE m.place_id IS NOT NULL \
              ORDER BY m.place_id, m.part_id, m.id",
        running: true,
    },
    Sums {
        table: "stock_move",
        what: "pieces of the part after the move",
        sql: "SELECT m.id AS row_id, m.part_id AS key_a, m.part_id AS key_b, \
              CASE WHEN m.kind = 'moved' THEN '0' ELSE m.quantity END AS moved, \
              m.part_after AS expected FROM stock_move m WHERE m.part_id IS NOT NULL \
              ORDER BY m.part_id, m.id",
        running: true,
    },
    Sums {
        table: "stock_level",
        what: "pieces at a place against its moves",
        sql: "SELECT l.id AS row_id, l.place_id AS key_a, l.part_id AS key_b, COALESCE(m.quantity, '0') AS moved, \
              l.quantity AS expected FROM stock_level l \
              LEFT JOIN stock_move m ON m.place_id = l.place_id AND m.part_id = l.part_id \
              ORDER BY l.place_id, l.part_id, m.id",
        running: false,
    },
    Sums {
        table: "stock_holding",
        what: "pieces of a part against its moves",
        sql: "SELECT h.part_id AS row_id, h.part_id AS key_a, h.part_id AS key_b, \
              COALESCE(m.quantity, '0') AS moved, h.quantity AS expected FROM stock_holding h \
              LEFT JOIN stock_move m ON m.part_id = h.part_id ORDER BY h.part_id, m.id",
        running: false,
    },
    Sums {
        table: "stock_holding",
        what: "pieces of a part against its layers",
        sql: "SELECT h.part_id AS row_id, h.part_id AS key_a, h.part_id AS key_b, \
              COALESCE(l.quantity, '0') AS moved, h.quantity AS expected FROM stock_holding h \
              LEFT JOIN stock_layer l ON l.part_id = h.part_id ORDER BY h.part_id, l.id",
        running: false,
    },
    Sums {
        table: "part_order",
        what: "pieces that came for an order",
        sql: "SELECT o.id AS row_id, o.id AS key_a, o.id AS key_b, COALESCE(m.quantity, '0') AS moved, \
              o.received_quantity AS expected FROM part_order o \
              LEFT JOIN stock_move m ON m.part_order_id = o.id ORDER BY o.id, m.id",
        running: false,
    },
    Sums {
        table: "unbilled_receipt",
        what: "pieces of a receipt that are billed, wait for a bill or went back",
        sql: "SELECT t.row_id, t.row_id AS key_a, t.row_id AS key_b, t.moved, m.quantity AS expected FROM \
              (SELECT move_id AS row_id, open_quantity AS moved FROM unbilled_receipt \
              UNION ALL SELECT l.receipt_move_id, l.quantity FROM supplier_bill_line l \
              LEFT JOIN supplier_bill_undoing u ON u.bill_id = l.bill_id \
              WHERE l.receipt_move_id IS NOT NULL AND u.bill_id IS NULL \
              UNION ALL SELECT g.undoes_move_id, SUBSTR(g.quantity, 2) FROM stock_move g \
              JOIN unbilled_receipt w ON w.move_id = g.undoes_move_id WHERE g.kind = 'sent_back') t \
              JOIN stock_move m ON m.id = t.row_id ORDER BY t.row_id",
        running: false,
    },
    Sums {
        table: "part_used",
        what: "pieces fitted on a completed call against what left for it",
        sql: "SELECT u.id AS row_id, u.id AS key_a, u.id AS key_b, \
              CASE WHEN m.quantity IS NULL THEN '0' WHEN m.quantity LIKE '-%' THEN SUBSTR(m.quantity, 2) \
              WHEN m.quantity = '0' THEN '0' ELSE '-' || m.quantity END AS moved, u.quantity AS expected \
              FROM part_used u JOIN remedy r ON r.id = u.remedy_id JOIN finding f ON f.id = r.finding_id \
              JOIN service_call c ON c.id = f.call_id LEFT JOIN stock_move m ON m.part_used_id = u.id \
              WHERE c.state = 'completed' ORDER BY u.id, m.id",
        running: false,
    },
];

const RULES: &[Rule] = &[
    Rule {
        table: "stock_move",
        what: "cents of parts stock in the books of a day against the moves of that day",
        sql: "SELECT CAST(NULL AS BIGINT) AS row_id, CAST(SUM(booked) AS BIGINT) AS found, \
              CAST(SUM(moved) AS BIGINT) AS expected FROM \
              (SELECT p.entry_on AS on_day, p.debit_cents - p.credit_cents AS booked, 0 AS moved FROM posting p \
              JOIN account a ON a.id = p.account_id WHERE a.role = 'parts_stock' \
              UNION ALL SELECT moved_on, 0, value_cents FROM stock_move) t \
              GROUP BY on_day HAVING SUM(booked) <> SUM(moved) ORDER BY on_day",
    },
    Rule {
        table: "stock_move",
        what: "cents in the entry of a move against its value",
        sql: "SELECT m.id AS row_id, CAST(COALESCE(b.booked, 0) AS BIGINT) AS found, \
              CAST(m.value_cents + COALESCE(g.given, 0) AS BIGINT) AS expected FROM stock_move m \
              LEFT JOIN (SELECT e.document_id, SUM(p.debit_cents - p.credit_cents) AS booked FROM journal_entry e \
              JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id AND a.role = 'parts_stock' \
              WHERE e.document_kind = 'stock_move' GROUP BY e.document_id) b ON b.document_id = m.id \
              LEFT JOIN (SELECT undoes_move_id, SUM(value_cents) AS given FROM stock_move WHERE kind = 'assigned' \
              GROUP BY undoes_move_id) g ON g.undoes_move_id = m.id \
              WHERE (m.kind IN ('counted', 'adjusted', 'settled', 'moved') \
              OR (m.kind IN ('received', 'sent_back') \
              AND NOT EXISTS (SELECT 1 FROM supplier_bill_line s WHERE s.move_id = m.id OR s.move_id = m.undoes_move_id)) \
              OR (m.kind IN ('used', 'taken_back') AND m.call_id IS NULL)) \
              AND COALESCE(b.booked, 0) <> m.value_cents + COALESCE(g.given, 0) ORDER BY m.id",
    },
    Rule {
        table: "supplier_bill",
        what: "cents of parts stock in the entry of a bill or credit against the moves of its lines",
        sql: "SELECT bill_id AS row_id, CAST(SUM(booked) AS BIGINT) AS found, CAST(SUM(moved) AS BIGINT) AS expected FROM \
              (SELECT e.document_id AS bill_id, p.debit_cents - p.credit_cents AS booked, 0 AS moved FROM journal_entry e \
              JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id AND a.role = 'parts_stock' \
              WHERE e.document_kind = 'supplier_bill' \
              UNION ALL SELECT l.bill_id, 0, m.value_cents FROM supplier_bill_line l \
              JOIN stock_move m ON m.id = l.move_id \
              UNION ALL SELECT l.bill_id, 0, g.value_cents FROM supplier_bill_line l \
              JOIN stock_move g ON g.undoes_move_id = l.move_id AND g.kind IN ('received', 'sent_back')) t \
              GROUP BY bill_id HAVING SUM(booked) <> SUM(moved) ORDER BY bill_id",
    },
    Rule {
        table: "unbilled_receipt",
        what: "cents of a receipt without a bill against what came in",
        sql: "SELECT u.move_id AS row_id, u.cost_cents AS found, m.value_cents AS expected FROM unbilled_receipt u \
              JOIN stock_move m ON m.id = u.move_id WHERE u.cost_cents <> m.value_cents ORDER BY u.move_id",
    },
    Rule {
        table: "stock_move",
        what: "a settlement of another part, call or invoice than that of the move it mends (move found)",
        sql: "SELECT s.id AS row_id, m.id AS found, CAST(NULL AS BIGINT) AS expected FROM stock_move s \
              JOIN stock_move m ON m.id = s.settles_move_id WHERE m.part_id <> s.part_id \
              OR COALESCE(m.part_used_id, 0) <> COALESCE(s.part_used_id, 0) \
              OR COALESCE(m.call_id, 0) <> COALESCE(s.call_id, 0) \
              OR COALESCE(m.invoice_id, 0) <> COALESCE(s.invoice_id, 0) ORDER BY s.id",
    },
    Rule {
        table: "stock_place",
        what: "number of vans in use of one technician",
        sql: "SELECT technician_id AS row_id, CAST(COUNT(*) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM stock_place WHERE technician_id IS NOT NULL AND retired_at IS NULL \
              GROUP BY technician_id HAVING COUNT(*) > 1 ORDER BY technician_id",
    },
    Rule {
        table: "stock_holding",
        what: "cents of a part against its moves",
        sql: "SELECT part_id AS row_id, CAST(SUM(held) AS BIGINT) AS found, CAST(SUM(moved) AS BIGINT) AS expected \
              FROM (SELECT part_id, value_cents AS held, 0 AS moved FROM stock_holding \
              UNION ALL SELECT part_id, 0, value_cents FROM stock_move WHERE part_id IS NOT NULL) t \
              GROUP BY part_id HAVING SUM(held) <> SUM(moved) ORDER BY part_id",
    },
    Rule {
        table: "stock_layer",
        what: "cents of a part's layers against its holding",
        sql: "SELECT part_id AS row_id, CAST(SUM(laid) AS BIGINT) AS found, CAST(SUM(held) AS BIGINT) AS expected \
              FROM (SELECT part_id, value_cents AS laid, 0 AS held FROM stock_layer \
              UNION ALL SELECT part_id, 0, value_cents FROM stock_holding) t \
              GROUP BY part_id HAVING SUM(laid) <> SUM(held) ORDER BY part_id",
    },
    Rule {
        table: "stock_move",
        what: "cents of the part after the move against all moves so far",
        sql: "SELECT m.id AS row_id, m.value_after_cents AS found, m.so_far AS expected FROM \
              (SELECT id, value_after_cents, CAST(SUM(value_cents) OVER (PARTITION BY part_id ORDER BY id) AS BIGINT) \
              AS so_far FROM stock_move WHERE part_id IS NOT NULL) m \
              WHERE m.value_after_cents IS NULL OR m.value_after_cents <> m.so_far ORDER BY m.id",
    },
    Rule {
        table: "stock_level",
        what: "a part or place whose moves have no level (part found, place expected)",
        sql: "SELECT CAST(NULL AS BIGINT) AS row_id, m.part_id AS found, m.place_id AS expected FROM stock_move m \
              LEFT JOIN stock_level l ON l.part_id = m.part_id AND l.place_id = m.place_id \
              WHERE m.place_id IS NOT NULL AND l.id IS NULL GROUP BY m.part_id, m.place_id \
              ORDER BY m.part_id, m.place_id",
    },
    Rule {
        table: "part_used",
        what: "cents of a part fitted on a completed call against what left the stock for it",
        sql: "SELECT id AS row_id, CAST(SUM(fitted) AS BIGINT) AS found, CAST(SUM(gone) AS BIGINT) AS expected FROM \
              (SELECT u.id, u.cost_cents AS fitted, 0 AS gone FROM part_used u JOIN remedy r ON r.id = u.remedy_id \
              JOIN finding f ON f.id = r.finding_id JOIN service_call c ON c.id = f.call_id \
              WHERE c.state = 'completed' \
              UNION ALL SELECT part_used_id, 0, -value_cents FROM stock_move WHERE part_used_id IS NOT NULL) t \
              GROUP BY id HAVING SUM(fitted) <> SUM(gone) ORDER BY id",
    },
    Rule {
        table: "account",
        what: "cents of parts received without a bill in the books against the receipts that wait for one",
        sql: "SELECT a.id AS row_id, found, expected FROM account a, \
              (SELECT CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS found \
              FROM posting p JOIN account b ON b.id = p.account_id WHERE b.role = 'received_not_billed') f, \
              (SELECT CAST(COALESCE(SUM(open_cents), 0) AS BIGINT) AS expected FROM unbilled_receipt) e WHERE a.role = 'received_not_billed' AND found <> expected",
    },
    Rule {
        table: "stock_place",
        what: "number of main places",
        sql: "SELECT CAST(NULL AS BIGINT) AS row_id, s AS found, CAST(1 AS BIGINT) AS expected FROM \
              (SELECT CAST(COUNT(*) AS BIGINT) AS s FROM stock_place WHERE is_main AND retired_at IS NULL) t WHERE s <> 1",
    },
];
