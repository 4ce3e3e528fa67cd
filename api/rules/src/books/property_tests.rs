//! Every money event as one value, for the worked table and for the properties.

use super::events::*;
use super::statements::*;
use super::*;
use proptest::prelude::*;

#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Event {
    InvoiceIssued(DocumentAmounts),
    CreditNote(DocumentAmounts),
    Payment(Payment),
    DepositTaken(Cents),
    DepositApplied(Owed),
    Banked {
        receipts: Cents,
        card_fee: Cents,
    },
    TakenBackByBank {
        amount: Cents,
        bank_fee: Cents,
    },
    Refund {
        from: RefundFrom,
        amount: Cents,
    },
    WriteOff {
        owed_by: Debtor,
        bad_debt: Cents,
        tax_relief: Vec<TaxAmount>,
    },
    PartUsed {
        paid_by: PartPayer,
        cost: Cents,
    },
    SupplierBill {
        parts_stock: Cents,
        #[serde(default)]
        awaited: Cents,
        #[serde(default)]
        difference: Cents,
        #[serde(default)]
        expense: Cents,
    },
    SupplierPaid(Cents),
    ClaimBorne {
        shortfall: Cents,
        tax_relief: Vec<TaxAmount>,
    },
    ClaimShortPaid {
        borne_by: ShortfallBearer,
        amount: Cents,
    },
    WarrantyAccrued(Cents),
    WarrantyUsed {
        parts: Cents,
        labour: Cents,
    },
    TaxRemitted {
        due: Vec<TaxAmount>,
        timely_discount: Cents,
    },
}

pub fn post(event: &Event) -> Result<Option<Entry>, BooksRefusal> {
    match event {
        Event::InvoiceIssued(document) => invoice_issued(document),
        Event::CreditNote(document) => credit_note(document),
        Event::Payment(p) => payment(*p).map(Some),
        Event::DepositTaken(amount) => deposit_taken(*amount).map(Some),
        Event::DepositApplied(amount) => deposit_applied(*amount).map(Some),
        Event::Banked { receipts, card_fee } => banked(Role::Bank, *receipts, *card_fee).map(Some),
        Event::TakenBackByBank { amount, bank_fee } => {
            taken_back_by_bank(Role::Bank, *amount, *bank_fee).map(Some)
        }
        Event::Refund { from, amount } => refund(*from, Role::Bank, *amount).map(Some),
        Event::WriteOff {
            owed_by,
            bad_debt,
            tax_relief,
        } => write_off(*owed_by, *bad_debt, tax_relief).map(Some),
        Event::PartUsed { paid_by, cost } => part_used(*paid_by, *cost),
        Event::SupplierBill {
            parts_stock,
            awaited,
            difference,
            expense,
        } => {
            let parts = PartsBilled {
                in_stock: *parts_stock,
                awaited: *awaited,
                difference: *difference,
            };
            supplier_bill(parts, &[(Role::OtherExpense.into(), *expense)]).map(Some)
        }
        Event::SupplierPaid(amount) => supplier_paid(Role::Bank, *amount).map(Some),
        Event::ClaimBorne {
            shortfall,
            tax_relief,
        } => claim_borne(*shortfall, tax_relief).map(Some),
        Event::ClaimShortPaid { borne_by, amount } => {
            claim_short_paid(*borne_by, *amount).map(Some)
        }
        Event::WarrantyAccrued(amount) => warranty_accrued(*amount).map(Some),
        Event::WarrantyUsed { parts, labour } => warranty_used(*parts, *labour).map(Some),
        Event::TaxRemitted {
            due,
            timely_discount,
        } => tax_remitted(due, *timely_discount).map(Some),
    }
}

fn cents() -> impl Strategy<Value = Cents> {
    (0i64..10_000_000).prop_map(Cents)
}

fn owed() -> impl Strategy<Value = Owed> {
    (cents(), cents()).prop_map(|(customer, payer)| Owed { customer, payer })
}

fn taxes(range: std::ops::Range<i64>) -> impl Strategy<Value = Vec<TaxAmount>> {
    prop::collection::vec(range, 0..4).prop_map(|amounts| {
        amounts
            .into_iter()
            .enumerate()
            .map(|(n, a)| TaxAmount {
                level: format!("level-{n}"),
                amount: Cents(a),
            })
            .collect()
    })
}

/// A document whose sides agree by construction; the customer's share may be anything from nothing to all.
fn document() -> impl Strategy<Value = DocumentAmounts> {
    let kinds = vec![
        Role::PartsRevenue,
        Role::LabourRevenue,
        Role::TripRevenue,
        Role::DiagnosticRevenue,
        Role::OtherRevenue,
    ];
    let line =
        (prop::sample::select(kinds), -5_000i64..200_000).prop_map(|(role, a)| RevenueAmount {
            role,
            amount: Cents(a),
        });
    (
        prop::collection::vec(line, 0..8),
        taxes(-300..9_000),
        0i64..3_000,
        0i64..=100,
    )
        .prop_filter_map(
            "a document owes nothing or more",
            |(revenue, tax, discount, percent)| {
                let total = revenue
                    .iter()
                    .map(|r| r.amount.0)
                    .chain(tax.iter().map(|t| t.amount.0))
                    .sum::<i64>()
                    - discount;
                let customer = total * percent / 100;
                (total >= 0).then(|| DocumentAmounts {
                    customer_owes: Cents(customer),
                    payer_owes: Cents(total - customer),
                    revenue,
                    discounts: Cents(discount),
                    tax,
                })
            },
        )
}

fn event() -> impl Strategy<Value = Event> {
    let debtor = || prop::sample::select(vec![Debtor::Customer, Debtor::WarrantyPayer]);
    let payer = prop::sample::select(vec![
        PartPayer::Customer,
        PartPayer::WarrantyPayer,
        PartPayer::Shop,
    ]);
    let bearer = prop::sample::select(vec![ShortfallBearer::Shop, ShortfallBearer::Customer]);
    let from = prop::sample::select(vec![RefundFrom::Deposits, RefundFrom::Receivable]);
    prop_oneof![
        document().prop_map(Event::InvoiceIssued),
        document().prop_map(Event::CreditNote),
        (owed(), cents()).prop_map(|(settles, excess)| Event::Payment(Payment { settles, excess })),
        cents().prop_map(Event::DepositTaken),
        owed().prop_map(Event::DepositApplied),
        (cents(), cents()).prop_map(|(receipts, card_fee)| Event::Banked { receipts, card_fee }),
        (from, cents()).prop_map(|(from, amount)| Event::Refund { from, amount }),
        (debtor(), cents(), taxes(0..900)).prop_map(|(owed_by, bad_debt, tax_relief)| {
            Event::WriteOff {
                owed_by,
                bad_debt,
                tax_relief,
            }
        }),
        (payer, cents()).prop_map(|(paid_by, cost)| Event::PartUsed { paid_by, cost }),
        (cents(), cents(), cents(), cents()).prop_map(
            |(parts_stock, awaited, difference, expense)| Event::SupplierBill {
                parts_stock,
                awaited,
                difference,
                expense,
            }
        ),
        cents().prop_map(Event::SupplierPaid),
        (cents(), taxes(0..900)).prop_map(|(shortfall, tax_relief)| Event::ClaimBorne {
            shortfall,
            tax_relief
        }),
        (bearer, cents()).prop_map(|(borne_by, amount)| Event::ClaimShortPaid { borne_by, amount }),
        cents().prop_map(Event::WarrantyAccrued),
        (cents(), cents()).prop_map(|(parts, labour)| Event::WarrantyUsed { parts, labour }),
        (taxes(1..90_000), 0i64..50).prop_map(|(due, discount)| Event::TaxRemitted {
            due,
            timely_discount: Cents(discount)
        }),
    ]
}

proptest! {
    #[test]
    fn an_entry_built_from_any_event_balances(event in event()) {
        match post(&event) {
            Ok(Some(entry)) => {
                prop_assert_eq!(entry.postings().iter().map(|p| p.signed().0).sum::<i64>(), 0);
                prop_assert!(entry.postings().iter().all(|p| p.amount > Cents(0)));
            }
            Ok(None) => {}
            Err(refusal) => {
                let lawful = matches!(refusal, BooksRefusal::TooFewPostings { .. } | BooksRefusal::PartExceedsWhole { .. });
                prop_assert!(lawful, "{}", refusal);
            }
        }
    }

    #[test]
    fn an_entry_and_its_reversal_leave_every_account_at_zero(event in event()) {
        if let Ok(Some(entry)) = post(&event) {
            let back = entry.reversed();
            let both = entry.postings().iter().chain(back.postings());
            let trial = trial_balance(both.map(|p| (p.account.clone(), AccountKind::Asset, p.signed())))?;
            prop_assert!(trial.rows.is_empty());
        }
    }

    #[test]
    fn a_credit_note_for_the_whole_invoice_undoes_it(document in document()) {
        let issued = invoice_issued(&document)?;
        prop_assert_eq!(credit_note(&document)?, issued.map(|entry| entry.reversed()));
    }
    #[test]
    fn a_credit_note_takes_off_what_is_open_and_gives_back_the_rest(document in document(), of in 0i64..=100, more in 0i64..=100) {
        let part = |owed: Cents, percent: i64| Cents(owed.0 * percent / 100);
        let open = Owed { customer: part(document.customer_owes, of), payer: part(document.payer_owes, more) };
        let entry = credit_note_settling(&document, open)?;
        let on = |role: Role| -> i64 {
            let postings = entry.iter().flat_map(Entry::postings);
            postings.filter(|p| p.account == role.into()).map(|p| p.signed().0).sum()
        };
        prop_assert_eq!(on(Role::Receivable), -open.customer.0);
        prop_assert_eq!(on(Role::ClaimsReceivable), -open.payer.0);
        prop_assert_eq!(on(Role::CustomerDeposits), open.customer.0 + open.payer.0 - document.customer_owes.0 - document.payer_owes.0);
    }
}
