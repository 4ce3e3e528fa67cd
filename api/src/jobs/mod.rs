//! Work that runs beside requests: the mail worker and the daily round.
