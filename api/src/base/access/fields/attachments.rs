use super::Row;
use crate::base::access::Least::Staff;

pub(super) const ATTACHMENTS: &[Row] = &[
    ("Appliance", Staff, "attachments"),
    ("ServiceCall", Staff, "attachments"),
    ("Finding", Staff, "attachments"),
    (
        "Attachment",
        Staff,
        "id kind caption mediaType width height byteCount sha256 sourceSha256 addedAt addedBy",
    ),
    ("Attachment", Staff, "path smallPath"),
];
