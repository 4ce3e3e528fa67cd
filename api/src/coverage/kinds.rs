//! What a charge counts as: for whoever pays its price, and for what it costs the shop.

use nameplate_entities::kinds::ChargeKind;
use nameplate_rules::coverage::Covers;

/// What terms that cover parts, labor or trips pay of it; none for a charge that no programme pays. Freight comes with its
/// parts.
pub fn covers(kind: ChargeKind) -> Option<Covers> {
    match kind {
        ChargeKind::Part | ChargeKind::Freight => Some(Covers::Parts),
        ChargeKind::Labour | ChargeKind::Diagnostic => Some(Covers::Labour),
        ChargeKind::Trip => Some(Covers::Trip),
        ChargeKind::Fee => None,
    }
}

/// What the shop's cost of it is counted with: parts out of stock, or time; none for freight, which left no stock, and for
/// what no programme pays.
pub fn costs(kind: ChargeKind) -> Option<Covers> {
    covers(kind).filter(|_| kind != ChargeKind::Freight)
}
