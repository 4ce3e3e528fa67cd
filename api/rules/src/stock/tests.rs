use proptest::prelude::*;
use serde::Deserialize;

use super::*;
use crate::worked::rows;

#[derive(Deserialize)]
struct Asked {
    method: Method,
    /// In at a cost, or out at an assumed cost of one.
    moves: Vec<(String, Decimal, Cents)>,
}

#[derive(Deserialize)]
struct Answer {
    costs: Vec<Cents>,
    #[serde(default)]
    differences: Vec<Cents>,
    quantity: Decimal,
    value: Cents,
}

fn empty(method: Method) -> Holding {
    Holding::of(method, Vec::new()).unwrap()
}

#[test]
fn worked_examples_of_average_and_fifo_give_their_printed_figures() {
    for case in rows::<Asked, Answer>(include_str!("../../../../fixtures/worked/stock.json")) {
        let (asked, answer) = (case.input, case.expected);
        let mut holding = empty(asked.method);
        let (mut costs, mut differences) = (Vec::new(), Vec::new());
        for (way, quantity, cents) in asked.moves {
            if way == "in" {
                differences.push(holding.receive(quantity, cents).unwrap().difference);
            } else {
                costs.push(holding.take(quantity, cents).unwrap().cost);
            }
        }
        let source = &case.source;
        assert_eq!(costs, answer.costs, "{source}");
        assert_eq!(
            holding.quantity().unwrap(),
            answer.quantity.normalize(),
            "{source}"
        );
        assert_eq!(holding.value().unwrap(), answer.value, "{source}");
        if answer.differences.is_empty() {
            assert!(differences.iter().all(|cents| *cents == Cents::ZERO));
        } else {
            assert_eq!(differences, answer.differences, "{source}");
        }
    }
}

#[test]
fn nothing_comes_or_leaves_below_zero() {
    let mut holding = empty(Method::MovingAverage);
    let nothing = StockRefusal::NotPositive {
        quantity: Decimal::ZERO,
    };
    assert_eq!(
        holding.receive(Decimal::ZERO, Cents(1)),
        Err(nothing.clone())
    );
    assert_eq!(holding.take(Decimal::ZERO, Cents(1)), Err(nothing));
    let below = StockRefusal::NegativeCost { cost: Cents(-1) };
    assert_eq!(holding.receive(Decimal::ONE, Cents(-1)), Err(below.clone()));
    assert_eq!(holding.take(Decimal::ONE, Cents(-1)), Err(below));
    assert_eq!(
        holding.take(Decimal::MAX, Cents(i64::MAX)),
        Err(StockRefusal::TooLarge)
    );
}

#[test]
fn found_pieces_are_worth_what_the_others_are() {
    let mut holding = empty(Method::FirstInFirstOut);
    assert_eq!(holding.worth_of(Decimal::ONE).unwrap(), None);
    holding.receive(2.into(), Cents(1_000)).unwrap();
    holding.receive(1.into(), Cents(800)).unwrap();
    assert_eq!(holding.worth_of(2.into()).unwrap(), Some(Cents(1_200)));
    holding.take(5.into(), Cents(700)).unwrap();
    assert_eq!(holding.worth_of(1.into()).unwrap(), Some(Cents(700)));
}

/// In at a cost, or out; quantities in tenths.
#[derive(Clone, Debug)]
enum Step {
    In(u32, i64),
    Out(u32, i64),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![
        (1_u32..200, 0_i64..50_000).prop_map(|(tenths, cost)| Step::In(tenths, cost)),
        (1_u32..200, 0_i64..5_000).prop_map(|(tenths, unit)| Step::Out(tenths, unit)),
    ];
    prop::collection::vec(step, 1..40)
}

fn method() -> impl Strategy<Value = Method> {
    prop_oneof![Just(Method::MovingAverage), Just(Method::FirstInFirstOut)]
}

fn tenths(count: u32) -> Decimal {
    Decimal::new(i64::from(count), 1)
}

proptest! {
    #[test]
    fn cost_of_sales_and_what_is_left_are_what_was_paid(method in method(), steps in steps()) {
        let mut holding = empty(method);
        let (mut paid, mut sold, mut pieces) = (0, 0, Decimal::ZERO);
        for step in steps {
            match step {
                Step::In(count, cost) => {
                    let received = holding.receive(tenths(count), Cents(cost)).unwrap();
                    paid += cost;
                    sold += received.difference.0;
                    pieces += tenths(count);
                }
                Step::Out(count, unit) => {
                    let taken = holding.take(tenths(count), Cents(unit)).unwrap();
                    prop_assert!(taken.cost >= Cents::ZERO);
                    sold += taken.cost.0;
                    pieces -= tenths(count);
                }
            }
            prop_assert_eq!(holding.value().unwrap().0 + sold, paid);
            prop_assert_eq!(holding.quantity().unwrap(), pieces.normalize());
            let layers = holding.layers();
            let above = layers.iter().all(|layer| layer.quantity > Decimal::ZERO && layer.value >= Cents::ZERO);
            let below = layers.iter().all(|layer| layer.quantity < Decimal::ZERO && layer.value <= Cents::ZERO);
            let kept_as_one = method == Method::FirstInFirstOut || layers.len() <= 1;
            prop_assert!((above || below) && kept_as_one, "{:?}", layers);
        }
        let again = Holding::of(method, holding.layers().to_vec()).unwrap();
        prop_assert_eq!(again, holding);
    }

    #[test]
    fn under_average_the_order_of_receipts_does_not_matter(
        receipts in prop::collection::vec((1_u32..100, 0_i64..50_000), 1..8), out in 1_u32..100,
    ) {
        let after = |receipts: &[(u32, i64)]| {
            let mut holding = empty(Method::MovingAverage);
            for (count, cost) in receipts {
                holding.receive(tenths(*count), Cents(*cost)).unwrap();
            }
            (holding.take(tenths(out), Cents(100)).unwrap(), holding)
        };
        let turned: Vec<_> = receipts.iter().rev().copied().collect();
        prop_assert_eq!(after(&receipts), after(&turned));
    }

    #[test]
    fn what_leaves_at_once_costs_what_it_costs_piece_by_piece_within_the_rounding(
        method in method(), receipts in prop::collection::vec((1_u32..50, 0_i64..50_000), 1..6),
    ) {
        let mut all = empty(method);
        for (count, cost) in &receipts {
            all.receive(tenths(*count), Cents(*cost)).unwrap();
        }
        let mut slowly = all.clone();
        let whole = all.quantity().unwrap();
        let at_once = all.take(whole, Cents::ZERO).unwrap().cost;
        let half = whole / Decimal::TWO;
        let first = slowly.take(half, Cents::ZERO).unwrap().cost;
        let second = slowly.take(whole - half, Cents::ZERO).unwrap().cost;
        prop_assert_eq!(first.0 + second.0, at_once.0);
    }
}
