use super::events::*;
use super::property_tests::{Event, post};
use super::statements::*;
use super::*;
use crate::worked::rows;
use std::collections::BTreeMap;

#[derive(Deserialize)]
struct Cycle {
    accounts: BTreeMap<String, AccountKind>,
    /// (debit account, credit account, dollars)
    journal: Vec<(String, String, i64)>,
    adjustments: Vec<(String, String, i64)>,
    drawings: Vec<String>,
}

#[derive(Deserialize)]
struct Reports {
    unadjusted: Vec<(String, i64)>,
    unadjusted_total: i64,
    adjusted: Vec<(String, i64)>,
    adjusted_total: i64,
    revenue: i64,
    expenses: i64,
    net: i64,
    assets: i64,
    liabilities: i64,
    equity: i64,
    retained: i64,
    post_closing_total: i64,
}

fn dollars(amount: i64) -> Cents {
    Cents(amount * 100)
}

fn account(name: &str) -> AccountRef {
    if name == "retained earnings" {
        Role::RetainedEarnings.into()
    } else {
        AccountRef::Code(name.to_owned())
    }
}

fn entries(lines: &[(String, String, i64)]) -> Vec<Entry> {
    lines
        .iter()
        .map(|(debit, credit, amount)| {
            let postings = vec![
                Posting::debit(account(debit), dollars(*amount)),
                Posting::credit(account(credit), dollars(*amount)),
            ];
            Entry::balanced(postings).expect("a pair balances")
        })
        .collect()
}

fn trial(entries: &[Entry], kinds: &BTreeMap<String, AccountKind>) -> TrialBalance<AccountRef> {
    let kind = |account: &AccountRef| match account {
        AccountRef::Role(role) => role.kind(),
        AccountRef::Code(code) => *kinds.get(code).expect("a known account"),
    };
    let amounts = entries
        .iter()
        .flat_map(Entry::postings)
        .map(|p| (p.account.clone(), kind(&p.account), p.signed()));
    trial_balance(amounts).expect("a trial balance")
}

/// Rows by account with debits positive, in dollars, sorted by account.
fn expected(rows: &[(String, i64)]) -> BTreeMap<AccountRef, Cents> {
    rows.iter()
        .map(|(name, amount)| (account(name), dollars(*amount)))
        .collect()
}

fn shown(trial: &TrialBalance<AccountRef>) -> BTreeMap<AccountRef, Cents> {
    trial
        .rows
        .iter()
        .map(|row| (row.account.clone(), row.signed()))
        .collect()
}

/// Pennsylvania State University, open course ACCTG 211, lessons 2 and 3: from the journal to the closed books.
#[test]
fn a_whole_cycle_gives_both_trial_balances_the_statements_and_the_closed_books() {
    for row in rows::<Cycle, Reports>(include_str!("../../../../fixtures/worked/books-cycle.json"))
    {
        let (cycle, reports) = (row.input, row.expected);
        let mut journal = entries(&cycle.journal);
        let unadjusted = trial(&journal, &cycle.accounts);
        assert_eq!(shown(&unadjusted), expected(&reports.unadjusted));
        assert_eq!(
            (unadjusted.debits, unadjusted.credits),
            (
                dollars(reports.unadjusted_total),
                dollars(reports.unadjusted_total)
            )
        );

        journal.extend(entries(&cycle.adjustments));
        let adjusted = trial(&journal, &cycle.accounts);
        assert_eq!(shown(&adjusted), expected(&reports.adjusted));
        assert_eq!(
            (adjusted.debits, adjusted.credits),
            (
                dollars(reports.adjusted_total),
                dollars(reports.adjusted_total)
            )
        );

        let made = income(&adjusted).expect("income");
        assert_eq!(
            (made.revenue, made.expenses, made.net),
            (
                dollars(reports.revenue),
                dollars(reports.expenses),
                dollars(reports.net)
            )
        );
        let owned = position(&adjusted).expect("a position");
        assert_eq!(
            (owned.assets, owned.liabilities, owned.equity),
            (
                dollars(reports.assets),
                dollars(reports.liabilities),
                dollars(reports.equity)
            )
        );
        assert!(owned.balances());

        let drawings: Vec<AccountRef> = cycle.drawings.iter().map(|name| account(name)).collect();
        journal.push(
            closing_entry(&adjusted, &drawings)
                .expect("a closing")
                .expect("something to close"),
        );
        let closed = trial(&journal, &cycle.accounts);
        assert_eq!(
            shown(&closed).get(&Role::RetainedEarnings.into()),
            Some(&Cents(-reports.retained * 100))
        );
        assert_eq!(
            (closed.debits, closed.credits),
            (
                dollars(reports.post_closing_total),
                dollars(reports.post_closing_total)
            )
        );
        assert_eq!(income(&closed).expect("income").revenue, Cents(0));
        assert_eq!(position(&closed).expect("a position"), owned);
        assert_eq!(closing_entry(&closed, &drawings), Ok(None));
    }
}

/// The table of money events; figures of the sales-tax entry from *Accounting Principles*, p. 381, others invented.
#[test]
fn every_worked_event_posts_to_its_accounts() {
    for row in rows::<Event, BTreeMap<String, i64>>(include_str!(
        "../../../../fixtures/worked/books-events.json"
    )) {
        let entry = post(&row.input)
            .expect("an entry")
            .expect("something to post");
        let mut got: BTreeMap<String, i64> = BTreeMap::new();
        for p in entry.postings() {
            let AccountRef::Role(role) = &p.account else {
                unreachable!("events post to roles")
            };
            let name = serde_json::to_value(role).expect("a name");
            let name = name.as_str().expect("text");
            let account = match &p.tax_level {
                Some(level) => format!("{name}/{level}"),
                None => name.to_owned(),
            };
            *got.entry(account).or_default() += p.signed().0;
        }
        assert_eq!(got, row.expected, "{}", row.source);
    }
}

fn bank_and(amounts: &[(Side, i64)]) -> Result<Entry, BooksRefusal> {
    Entry::balanced(
        amounts
            .iter()
            .map(|(side, amount)| Posting {
                account: Role::Bank.into(),
                side: *side,
                amount: Cents(*amount),
                tax_level: None,
            })
            .collect(),
    )
}

#[test]
fn entries_that_are_short_crooked_empty_or_too_large_are_refused() {
    use Side::{Credit, Debit};
    assert_eq!(
        bank_and(&[(Debit, 1)]),
        Err(BooksRefusal::TooFewPostings { count: 1 })
    );
    assert_eq!(
        bank_and(&[(Debit, 2), (Credit, 1)]),
        Err(BooksRefusal::Unbalanced {
            debits: Cents(2),
            credits: Cents(1)
        })
    );
    for amount in [0, -5, i64::MIN] {
        assert!(matches!(
            bank_and(&[(Debit, amount), (Credit, amount)]),
            Err(BooksRefusal::NotPositive { .. })
        ));
    }
    assert_eq!(
        bank_and(&[(Debit, i64::MAX), (Debit, 1), (Credit, i64::MAX)]),
        Err(BooksRefusal::Overflow)
    );
}

#[test]
fn sales_tax_names_its_level_and_nothing_else_does() {
    let untold = vec![
        Posting::debit(Role::Bank, Cents(1)),
        Posting::credit(Role::SalesTaxPayable, Cents(1)),
    ];
    assert_eq!(
        Entry::balanced(untold),
        Err(BooksRefusal::TaxWithoutLevel { amount: Cents(1) })
    );
    let blank = vec![
        Posting::debit(Role::Bank, Cents(1)),
        Posting::sales_tax(Side::Credit, " ", Cents(1)),
    ];
    assert_eq!(
        Entry::balanced(blank),
        Err(BooksRefusal::TaxWithoutLevel { amount: Cents(1) })
    );
    let odd = Posting {
        tax_level: Some("state".into()),
        ..Posting::debit(Role::Bank, Cents(1))
    };
    assert!(matches!(
        Entry::balanced(vec![odd, Posting::credit(Role::Receivable, Cents(1))]),
        Err(BooksRefusal::LevelWithoutTax { .. })
    ));
}

#[test]
fn an_invoice_whose_lines_do_not_add_up_is_refused_and_one_of_nothing_posts_nothing() {
    let mut document = DocumentAmounts {
        customer_owes: Cents(10_000),
        revenue: vec![RevenueAmount {
            role: Role::LabourRevenue,
            amount: Cents(9_999),
        }],
        ..DocumentAmounts::default()
    };
    assert_eq!(
        invoice_issued(&document),
        Err(BooksRefusal::Unbalanced {
            debits: Cents(10_000),
            credits: Cents(9_999)
        })
    );
    document.revenue = vec![RevenueAmount {
        role: Role::Bank,
        amount: Cents(10_000),
    }];
    assert_eq!(
        invoice_issued(&document),
        Err(BooksRefusal::NotRevenue { role: Role::Bank })
    );
    assert_eq!(invoice_issued(&DocumentAmounts::default()), Ok(None));
    assert_eq!(part_used(PartPayer::Shop, Cents(0)), Ok(None));
}

#[test]
fn events_refuse_nothing_negative_amounts_and_parts_larger_than_the_whole() {
    assert_eq!(
        deposit_taken(Cents(0)),
        Err(BooksRefusal::TooFewPostings { count: 0 })
    );
    assert_eq!(
        deposit_taken(Cents(-1)),
        Err(BooksRefusal::NegativeAmount {
            what: "the amount",
            amount: Cents(-1)
        })
    );
    assert!(matches!(
        banked(Role::Bank, Cents(100), Cents(101)),
        Err(BooksRefusal::PartExceedsWhole { .. })
    ));
    let due = [TaxAmount {
        level: "state".into(),
        amount: Cents(100),
    }];
    assert!(matches!(
        tax_remitted(&due, Cents(101)),
        Err(BooksRefusal::PartExceedsWhole { .. })
    ));
    let settles = Owed {
        customer: Cents(i64::MAX),
        payer: Cents(1),
    };
    let excess = Cents::ZERO;
    assert_eq!(
        payment(Payment { settles, excess }),
        Err(BooksRefusal::Overflow)
    );
    assert_eq!(deposit_applied(settles), Err(BooksRefusal::Overflow));
    let below = Owed::by(Debtor::WarrantyPayer, Cents(-1));
    assert!(matches!(
        deposit_applied(below),
        Err(BooksRefusal::NegativeAmount { .. })
    ));
}

#[test]
fn tax_owed_by_level_ties_to_its_control_account() {
    let document = DocumentAmounts {
        customer_owes: Cents(10_825),
        revenue: vec![RevenueAmount {
            role: Role::PartsRevenue,
            amount: Cents(10_000),
        }],
        tax: vec![
            TaxAmount {
                level: "state".into(),
                amount: Cents(625),
            },
            TaxAmount {
                level: "city".into(),
                amount: Cents(200),
            },
        ],
        ..DocumentAmounts::default()
    };
    let issued = invoice_issued(&document)
        .expect("an entry")
        .expect("something");
    let paid = tax_remitted(&document.tax[..1], Cents(5)).expect("an entry");
    let postings: Vec<Posting> = issued
        .into_postings()
        .into_iter()
        .chain(paid.into_postings())
        .collect();
    let levels = tax_by_level(&postings).expect("levels");
    assert_eq!(
        levels,
        BTreeMap::from([
            ("city".to_owned(), Cents(200)),
            ("state".to_owned(), Cents(0))
        ])
    );
    let control: i64 = postings
        .iter()
        .filter(|p| p.account == AccountRef::Role(Role::SalesTaxPayable))
        .map(|p| p.signed().0)
        .sum();
    assert_eq!(control, -levels.values().map(|c| c.0).sum::<i64>());
}

#[test]
fn a_credit_of_an_invoice_paid_in_part_settles_the_rest_and_keeps_what_was_paid_as_credit() {
    let document = DocumentAmounts {
        customer_owes: Cents(10_825),
        revenue: vec![RevenueAmount {
            role: Role::PartsRevenue,
            amount: Cents(10_000),
        }],
        tax: vec![TaxAmount {
            level: "1".to_owned(),
            amount: Cents(825),
        }],
        ..DocumentAmounts::default()
    };
    let by = |open| Owed::by(Debtor::Customer, Cents(open));
    let settled = |open| credit_note_settling(&document, by(open)).map(Option::unwrap);
    let on = |entry: &Entry, role: Role| {
        let amounts = entry.postings().iter().filter(|p| p.account == role.into());
        sum(amounts.map(Posting::signed)).unwrap()
    };
    let entry = settled(825).unwrap();
    assert_eq!(on(&entry, Role::Receivable), Cents(-825));
    assert_eq!(on(&entry, Role::CustomerDeposits), Cents(-10_000));
    assert_eq!(on(&entry, Role::PartsRevenue), Cents(10_000));
    assert_eq!(
        on(&settled(0).unwrap(), Role::CustomerDeposits),
        Cents(-10_825)
    );
    assert_eq!(
        settled(10_825).unwrap(),
        credit_note(&document).unwrap().unwrap()
    );
    assert!(settled(10_826).is_err());
    assert!(settled(-1).is_err());
    let of_payer = document.owed_by(Debtor::WarrantyPayer).unwrap();
    let open = Owed::by(Debtor::WarrantyPayer, Cents(825));
    let entry = credit_note_settling(&of_payer, open).unwrap().unwrap();
    assert_eq!(on(&entry, Role::ClaimsReceivable), Cents(-825));
    assert_eq!(on(&entry, Role::CustomerDeposits), Cents(-10_000));
    assert_eq!(on(&entry, Role::Receivable), Cents::ZERO);
    assert!(credit_note_settling(&of_payer, by(825)).is_err());
}
