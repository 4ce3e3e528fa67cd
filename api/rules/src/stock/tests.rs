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

#[test]
fn a_receipt_settles_each_time_that_pieces_left_by_itself() {
    let mut holding = empty(Method::MovingAverage);
    for (mark, unit) in [(1, 100), (2, 9_000)] {
        holding.take(Decimal::ONE, Cents(unit)).unwrap();
        holding.mark_newest(mark);
    }
    let received = holding.receive(Decimal::ONE, Cents::ZERO).unwrap();
    let settled = |mark, cents| Settlement {
        mark: Some(mark),
        quantity: Decimal::ONE,
        difference: Cents(cents),
    };
    assert_eq!(received.settlements, [settled(1, -100)]);
    let received = holding.receive(3.into(), Cents(30_000)).unwrap();
    assert_eq!(received.settlements, [settled(2, 1_000)]);
    assert_eq!(holding.value().unwrap(), Cents(20_000));
}

#[test]
fn pieces_that_come_back_settle_what_was_short_when_they_left() {
    let mut holding = empty(Method::MovingAverage);
    for (mark, unit) in [(1, 100), (2, 9_000)] {
        holding.take(Decimal::ONE, Cents(unit)).unwrap();
        holding.mark_newest(mark);
    }
    let back = holding.receive_for(Decimal::ONE, Cents(9_000), Some(2));
    assert_eq!(back.unwrap().difference, Cents::ZERO);
    let marks: Vec<_> = holding.layers().iter().map(|layer| layer.mark).collect();
    assert_eq!(marks, [Some(1)]);
}

#[test]
fn a_receipt_taken_back_leaves_what_there_was_before_it() {
    for method in [Method::MovingAverage, Method::FirstInFirstOut] {
        let mut holding = empty(method);
        holding.receive(2.into(), Cents(8_000)).unwrap();
        holding.mark_newest(1);
        let before = holding.clone();
        holding.receive(10.into(), Cents(50_000)).unwrap();
        holding.mark_newest(2);
        let excess = holding.take_back(10.into(), Cents(50_000), 2).unwrap();
        assert_eq!((excess, &holding), (Cents::ZERO, &before), "{method:?}");
        let gone = StockRefusal::TooFew { there: 2.into() };
        assert_eq!(holding.take_back(3.into(), Cents(1), 2), Err(gone));
    }
}

#[test]
fn what_meanwhile_left_at_another_cost_is_cost_of_sales() {
    let mut holding = empty(Method::MovingAverage);
    holding.receive(2.into(), Cents(8_000)).unwrap();
    holding.receive(10.into(), Cents(50_000)).unwrap();
    let used = holding.take(4.into(), Cents::ZERO).unwrap().cost;
    assert_eq!(used, Cents(19_333));
    // Four were really used, two of each price: 8,000 and 10,000.
    let excess = holding.take_back(8.into(), Cents(40_000), 2).unwrap();
    assert_eq!(excess, Cents(1_333));
    assert_eq!(holding.value().unwrap(), Cents::ZERO);
}

#[test]
fn first_in_first_out_takes_back_its_own_pieces_and_then_the_oldest() {
    // A layer of before moves were known, then one of mark 2 of which a piece was sold and came back as mark 3.
    let layer = |(quantity, cents): (i64, i64), mark| Layer {
        quantity: quantity.into(),
        value: Cents(cents),
        mark,
    };
    let old = layer((2, 8_000), None);
    let layers = vec![old, layer((1, 5_000), Some(2)), layer((1, 5_000), Some(3))];
    let mut holding = Holding::of(Method::FirstInFirstOut, layers).unwrap();
    let excess = holding.take_back(1.into(), Cents(5_000), 2).unwrap();
    assert_eq!(excess, Cents::ZERO);
    // Its own are gone, so the oldest goes at what it is worth, and the rest of the cost is cost of sales.
    let excess = holding.take_back(1.into(), Cents(5_000), 2).unwrap();
    assert_eq!(excess, Cents(1_000));
    let left = [layer((1, 4_000), None), layer((1, 5_000), Some(3))];
    assert_eq!(holding.layers(), left);
    let gone = StockRefusal::TooFew { there: 2.into() };
    assert_eq!(holding.take_back(3.into(), Cents(1), 2), Err(gone));
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
        let mut cost_of = std::collections::BTreeMap::new();
        for (mark, step) in (0_i64..).zip(steps) {
            match step {
                Step::In(count, cost) => {
                    let received = holding.receive(tenths(count), Cents(cost)).unwrap();
                    paid += cost;
                    sold += received.difference.0;
                    let pieces_settled: Decimal = received.settlements.iter().map(|one| one.quantity).sum();
                    prop_assert_eq!(pieces_settled, received.settled);
                    for one in received.settlements {
                        let cost: &mut i64 = cost_of.get_mut(&one.mark.unwrap()).unwrap();
                        *cost += one.difference.0;
                        prop_assert!(*cost >= 0);
                    }
                    pieces += tenths(count);
                }
                Step::Out(count, unit) => {
                    let taken = holding.take(tenths(count), Cents(unit)).unwrap();
                    prop_assert!(taken.cost >= Cents::ZERO);
                    if taken.short > Decimal::ZERO {
                        holding.mark_newest(mark);
                    }
                    cost_of.insert(mark, taken.cost.0);
                    sold += taken.cost.0;
                    pieces -= tenths(count);
                }
            }
            prop_assert_eq!(holding.value().unwrap().0 + sold, paid);
            prop_assert_eq!(cost_of.values().sum::<i64>(), sold);
            prop_assert_eq!(holding.quantity().unwrap(), pieces.normalize());
            let layers = holding.layers();
            let above = layers.iter().all(|layer| layer.quantity > Decimal::ZERO && layer.value >= Cents::ZERO);
            let below = layers.iter().all(|layer| layer.quantity < Decimal::ZERO && layer.value <= Cents::ZERO);
            let kept_as_one = method == Method::FirstInFirstOut || below || layers.len() <= 1;
            prop_assert!((above || below) && kept_as_one, "{:?}", layers);
        }
        let again = Holding::of(method, holding.layers().to_vec()).unwrap();
        prop_assert_eq!(again, holding);
    }

    #[test]
    fn what_is_taken_back_leaves_with_its_cost_or_gives_the_rest_to_cost_of_sales(
        method in method(), steps in steps(), came in 1_u32..200, cost in 0_i64..50_000, out in 1_u32..200,
        back in 1_u32..200,
    ) {
        let mut holding = empty(method);
        for step in steps {
            match step {
                Step::In(count, cost) => {
                    holding.receive(tenths(count), Cents(cost)).unwrap();
                }
                Step::Out(count, unit) => {
                    holding.take(tenths(count), Cents(unit)).unwrap();
                }
            }
        }
        holding.receive(tenths(came), Cents(cost)).unwrap();
        holding.mark_newest(1);
        holding.take(tenths(out), Cents(100)).unwrap();
        let (pieces, value) = (holding.quantity().unwrap(), holding.value().unwrap());
        match holding.take_back(tenths(back), Cents(cost), 1) {
            Ok(excess) => {
                prop_assert_eq!(holding.quantity().unwrap(), pieces - tenths(back));
                prop_assert_eq!(holding.value().unwrap().0, value.0 - cost + excess.0);
                prop_assert!(holding.layers().iter().all(|layer| layer.quantity > Decimal::ZERO && layer.value >= Cents::ZERO));
            }
            Err(refusal) => {
                let there = pieces.max(Decimal::ZERO);
                prop_assert!(there < tenths(back));
                prop_assert_eq!(refusal, StockRefusal::TooFew { there });
            }
        }
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
