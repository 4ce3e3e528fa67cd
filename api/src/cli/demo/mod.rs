//! `nameplate demo`: an invented shop with two years of work, one repair from the complaint to the paid
//! invoice, an account of it, and then the running server.

mod dice;
mod history;
mod scenario;
