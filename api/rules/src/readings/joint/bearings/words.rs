//! Figures in words.

use crate::readings::joint::{CurrentBy, Figures, Loss};
use crate::readings::rounded;
use rust_decimal::Decimal;

pub(super) fn loss_words(loss: &Loss, what: &str, figures: &Figures) -> String {
    // A share that rounds to nothing tells nothing.
    let share = loss
        .percent
        .map(|percent| plain(percent, 1))
        .filter(|percent| !percent.is_zero())
        .map_or_else(String::new, |percent| format!(" ({percent} %)"));
    let drop = plain(loss.drop_volts, 3);
    match (loss.ohms, loss.watts, figures.load) {
        (Some(resistance), Some(heat), Some(load)) => {
            let by = match load.by {
                CurrentBy::Measured => "",
                CurrentBy::Plate => " by the plate, as none was read",
            };
            format!(
                "{what} loses {drop} V{share} at {}{by}: {} ohm, {} W of heat.",
                amps(load.amps),
                plain(resistance, 3),
                plain(heat, 1)
            )
        }
        _ => format!("{what} loses {drop} V{share}; no current was read with it."),
    }
}

pub(super) fn amps(value: Decimal) -> String {
    format!("{} A", plain(value, 2))
}

pub(super) fn volts(value: Decimal) -> String {
    format!("{} V", plain(value, 1))
}

pub(super) fn ohms(value: Decimal) -> String {
    format!("{} ohm", plain(value, 2))
}

/// Rounded half away from zero, without trailing zeros.
pub(super) fn plain(value: Decimal, decimals: u32) -> Decimal {
    rounded(value, decimals).normalize()
}
