//! Invoices, credit notes, payments and what is open.
