//! What a line was priced from, kept beside its price so that it can be priced again under another book.

use nameplate_entities::kinds::{PriceBasis, PricedBy, WorkHours};

/// What set the price of a line.
#[derive(Clone, Debug, Default)]
pub struct Basis {
    pub task_id: Option<i64>,
    pub hours: Option<WorkHours>,
    /// How many technicians, for labour.
    pub crew: Option<i32>,
    /// The grade; none for the book's own rate.
    pub rate_name: Option<String>,
    /// Minutes as typed, for labour by time.
    pub worked_minutes: Option<i32>,
    /// The zone of a trip.
    pub zone_name: Option<String>,
    pub priced_by: Option<PricedBy>,
    /// Whether it is the first labor by time, which carries the first-hour minimum.
    pub first_labour: Option<bool>,
    /// What set the price of a part that the book priced.
    pub set_by: Option<PriceBasis>,
    /// The part's list price, which the book could not pass.
    pub list_price: Option<i64>,
}

impl Basis {
    /// By the book unless somebody gave a price.
    pub(super) fn of(by_hand: bool) -> Self {
        let priced_by = if by_hand {
            PricedBy::Hand
        } else {
            PricedBy::Book
        };
        Self {
            priced_by: Some(priced_by),
            ..Self::default()
        }
    }
}
