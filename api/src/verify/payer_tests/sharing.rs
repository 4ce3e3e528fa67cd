//! One call billed to several payers.

use super::*;
use crate::base::ProblemCode;

#[tokio::test]
async fn a_deposit_of_somebody_who_gets_no_bill_stands_in_the_way() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.payer("Landlord", None).await;
        let call = shop.accepted_call(Cents(5_000), None).await;
        let deposit = RecordDeposit {
            idempotency_key: shop.key(),
            call_id: call.id,
            customer_id: Some(landlord.id),
            method: PaymentMethod::Transfer,
            reference: None,
            received_on: noon().date_naive(),
            amount: Cents(1_000),
        };
        record_deposit(&shop.owner, deposit).await.unwrap();
        let alone = shop.divided(call.id, Vec::new());
        let refused = issue_invoice(&shop.owner, alone).await;
        let at_divide = [(ProblemCode::WrongState, "divide".to_owned())];
        assert_eq!(refusals(refused), at_divide);
        let with = shop.divided(call.id, vec![percent(&landlord, 50)]);
        let bills = issue_invoice(&shop.owner, with).await.unwrap();
        let open = shop.open_cents(bills[1].id).await;
        assert_eq!(open, bills[1].total_cents - 1_000);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_landlord_pays_a_part_of_the_repair_and_the_tenant_the_rest() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.payer("Landlord", Some(45)).await;
        let whole = shop.bill(10_001).await;
        let call = shop.accepted_call(Cents(10_001), None).await;
        let deposit = RecordDeposit {
            idempotency_key: shop.key(),
            call_id: call.id,
            customer_id: Some(landlord.id),
            method: PaymentMethod::Transfer,
            reference: None,
            received_on: noon().date_naive(),
            amount: Cents(5_000),
        };
        record_deposit(&shop.owner, deposit).await.unwrap();
        // Of the part 60 %, all of the labor; the trip is the tenant's.
        let shares = vec![lines(
            &landlord,
            vec![of_line(1, Some(60), None), of_line(2, None, None)],
        )];
        let order = shop.divided(call.id, shares);
        let bills = issue_invoice(&shop.owner, order.clone()).await.unwrap();
        let again = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(bills, again, "one key bills once");
        let payers: Vec<i64> = bills.iter().map(|bill| bill.customer_id).collect();
        assert_eq!(payers, [shop.customer_id, landlord.id]);
        let totals: Vec<i64> = bills.iter().map(|bill| bill.total_cents).collect();
        // 40.00 + 3.20 + 45.00; 60.01 + 4.80 + 144.00.
        assert_eq!(totals, [8_820, 20_881]);
        assert_eq!(totals.iter().sum::<i64>(), whole.total_cents);
        assert_eq!(sum(&bills, |bill| bill.tax_cents), whole.tax_cents);
        assert_eq!(bills[1].due_on, noon().date_naive() + chrono::Days::new(45));
        // The landlord's deposit went to the landlord's own share.
        assert_eq!(shop.open_cents(bills[0].id).await, 8_820);
        assert_eq!(shop.open_cents(bills[1].id).await, 15_881);
        let owed = owed_by(shop.bench.app.db.read(), landlord.id)
            .await
            .unwrap();
        assert_eq!((owed.owed_cents, owed.credit_cents), (15_881, 0));
        let text = bills[1].content_json.as_str();
        assert!(
            text.contains("your share of call") && text.contains("297.01"),
            "{text}"
        );
        let mails = outbox_mail::Entity::find()
            .filter(outbox_mail::Column::SubjectKind.eq("invoice"))
            .filter(outbox_mail::Column::SubjectId.is_in(bills.iter().map(|bill| bill.id)))
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        assert_eq!(mails.len(), 2, "each payer gets its own");
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_share_that_was_taken_back_is_billed_to_somebody_else_and_the_call_only_once_all_are() {
    for shop in TestShop::everywhere().await {
        let (landlord, insurer) = (
            shop.payer("Landlord", None).await,
            shop.payer("Insurer", None).await,
        );
        let call = shop.accepted_call(Cents(9_999), Some(Cents(777))).await;
        let order = shop.divided(call.id, vec![percent(&landlord, 60)]);
        let bills = issue_invoice(&shop.owner, order).await.unwrap();
        let rebill = |invoice_id: i64| RebillInvoice {
            idempotency_key: shop.key(),
            invoice_id,
            customer_id: insurer.id,
        };
        let refused = async |outcome| {
            assert_eq!(
                refusals::<invoice::Model>(outcome),
                [(WrongState, "invoiceId".to_owned())]
            );
        };
        refused(rebill_invoice(&shop.owner, rebill(bills[1].id)).await).await;
        credit_invoice(&shop.owner, shop.credit(bills[1].id))
            .await
            .unwrap();
        let whole = issue_invoice(&shop.owner, shop.divided(call.id, Vec::new())).await;
        assert_eq!(refusals(whole), [(WrongState, "callId".to_owned())]);
        let second = rebill_invoice(&shop.owner, rebill(bills[1].id))
            .await
            .unwrap();
        assert_eq!(
            (second.customer_id, second.total_cents, second.division_id),
            (insurer.id, bills[1].total_cents, bills[0].division_id)
        );
        refused(rebill_invoice(&shop.owner, rebill(bills[1].id)).await).await;
        shop.is_in_order().await;
        for id in [second.id, bills[0].id] {
            credit_invoice(&shop.owner, shop.credit(id)).await.unwrap();
        }
        refused(rebill_invoice(&shop.owner, rebill(second.id)).await).await;
        let anew = issue_invoice(&shop.owner, shop.divided(call.id, Vec::new()))
            .await
            .unwrap();
        assert_eq!(anew[0].total_cents, sum(&bills, |bill| bill.total_cents));
        refused(rebill_invoice(&shop.owner, rebill(anew[0].id)).await).await;
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn shares_that_do_not_fit_are_refused_with_their_path_and_nothing_is_billed() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let insurer = shop.payer("Insurer", None).await;
    let call = shop.accepted_call(Cents(10_000), None).await;
    let outcome = async |shares: Vec<Share>| {
        let problems = problems(issue_invoice(&shop.owner, shop.divided(call.id, shares)).await);
        problems
            .into_iter()
            .map(|problem| (problem.code, problem.path))
            .collect::<Vec<_>>()
    };
    let cases = misfits(shop.customer_id, &landlord, &insurer);
    for (shares, code, at) in cases {
        assert_eq!(outcome(shares).await, [(code, at.to_owned())]);
    }
    let sixty = vec![percent(&landlord, 60), percent(&insurer, 60)];
    let refused = problems(issue_invoice(&shop.owner, shop.divided(call.id, sixty)).await);
    assert!(
        refused[0]
            .message
            .contains("Only 40.00 of this line is left"),
        "{refused:?}"
    );
    let bills = invoice::Entity::find()
        .all(shop.bench.app.db.read())
        .await
        .unwrap();
    assert!(bills.is_empty());
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_share_that_was_tampered_with_is_found() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let call = shop.accepted_call(Cents(10_001), None).await;
    let order = shop.divided(call.id, vec![percent(&landlord, 60)]);
    let bills = issue_invoice(&shop.owner, order).await.unwrap();
    let division = bills[0].division_id.unwrap();
    let spoiled = [
        "DROP TRIGGER keep_invoice_division_update; UPDATE invoice_division SET total_cents = total_cents + 1, \
         net_cents = net_cents + 1".to_owned(),
        format!("DROP TRIGGER keep_invoice_line_update; UPDATE invoice_line SET cost_cents = cost_cents + 1 WHERE invoice_id = {}", bills[1].id),
        format!("DROP TRIGGER keep_invoice_update; UPDATE invoice SET rebills_invoice_id = {} WHERE id = {}", bills[0].id, bills[1].id),
        format!("UPDATE invoice SET rebills_invoice_id = NULL, division_id = NULL WHERE id = {}", bills[1].id),
    ];
    let expected = [
        format!("invoice_division {division}: total cents of its invoices"),
        format!("invoice_division {division}: cents of its shares of one line"),
        format!(
            "invoice {}: an invoice that bills a share again",
            bills[1].id
        ),
        format!("service_call {}: bills of one call", call.id),
    ];
    for (sql, expected) in spoiled.iter().zip(expected) {
        let findings = shop.spoil(sql).await;
        assert!(
            findings.iter().any(|found| found.starts_with(&expected)),
            "{expected}: {findings:#?}"
        );
    }
}

#[tokio::test]
async fn a_letter_says_which_share_it_bills() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let call = shop.accepted_call(Cents(10_001), None).await;
    let order = shop.divided(call.id, vec![percent(&landlord, 100)]);
    let bills = issue_invoice(&shop.owner, order).await.unwrap();
    assert_eq!((bills.len(), bills[0].customer_id), (1, landlord.id));
    let says = format!("Billed to you for call {} of Ana Example.", call.number);
    let letter = invoices::letter(shop.bench.app.db.read(), bills[0].id).await;
    let text = letter.unwrap().rendered.text;
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Landlord") && text.contains(&says), "{text}");
    shop.is_in_order().await;
}

/// Shares that do not fit a call of this customer's with three lines, and where that is said.
fn misfits(
    customer_id: i64,
    landlord: &customer::Model,
    insurer: &customer::Model,
) -> Vec<(Vec<Share>, ProblemCode, &'static str)> {
    let one = |share: Share| vec![share];
    let ana = customer::Model {
        id: customer_id,
        ..landlord.clone()
    };
    vec![
        (one(lines(landlord, Vec::new())), Missing, "divide.0.lines"),
        (one(percent(landlord, 101)), OutOfRange, "divide.0.percent"),
        (one(percent(landlord, 0)), OutOfRange, "divide.0.percent"),
        (one(percent(&ana, 50)), Malformed, "divide.0.customerId"),
        (
            vec![percent(landlord, 50), percent(landlord, 50)],
            Malformed,
            "divide.1.customerId",
        ),
        (
            vec![percent(landlord, 60), percent(insurer, 60)],
            TooMuch,
            "divide.1.percent",
        ),
        (
            one(lines(landlord, vec![of_line(4, None, None)])),
            NotFound,
            "divide.0.lines.0.position",
        ),
        (
            one(lines(landlord, vec![of_line(0, None, None)])),
            NotFound,
            "divide.0.lines.0.position",
        ),
        (
            one(lines(landlord, vec![of_line(1, None, Some(10_001))])),
            TooMuch,
            "divide.0.lines.0.amount",
        ),
        (
            one(lines(landlord, vec![of_line(1, Some(0), None)])),
            OutOfRange,
            "divide.0.lines.0.percent",
        ),
        (
            one(lines(landlord, vec![of_line(1, Some(1), Some(1))])),
            Malformed,
            "divide.0.lines.0.amount",
        ),
        (
            one(percent(
                &customer::Model {
                    id: 99,
                    ..ana.clone()
                },
                50,
            )),
            NotFound,
            "divide.0.customerId",
        ),
    ]
}
