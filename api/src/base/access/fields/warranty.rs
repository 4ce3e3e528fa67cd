use super::Row;
use crate::base::access::Least::Staff;

pub(super) const WARRANTY: &[Row] = &[(
    "ShopWarranty",
    Staff,
    "writtenOn labourThrough partsThrough component call labourInForce partsInForce",
)];
