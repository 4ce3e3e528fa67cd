use super::Row;
use crate::base::access::Least::Desk;

pub(super) const MAIL: &[Row] = &[
    ("Query", Desk, "mails"),
    (
        "Mail",
        Desk,
        "id kind title to toName subject state attempts lastError createdAt nextTryAt sentAt",
    ),
];
