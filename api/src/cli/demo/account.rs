//! What the demo tells: short, readable, with the figures, and whether each check held.

/// Lines to print, and the checks that failed.
#[derive(Default)]
pub struct Account {
    lines: Vec<String>,
    failed: Vec<String>,
}

/// Longest line; a terminal shows it without folding.
const WIDTH: usize = 100;

impl Account {
    /// Begins a part of the account.
    pub fn heading(&mut self, title: &str) {
        self.lines.push(String::new());
        self.lines.push(title.to_owned());
    }

    /// A sentence, folded where a terminal would.
    pub fn say(&mut self, sentence: impl AsRef<str>) {
        let mut line = String::from("   ");
        for word in sentence.as_ref().split_whitespace() {
            if line.chars().count() + word.chars().count() >= WIDTH {
                self.lines
                    .push(std::mem::replace(&mut line, "     ".to_owned()));
            }
            line.push(' ');
            line.push_str(word);
        }
        self.lines.push(line);
    }

    /// A row of the books: what it is, and its two columns. Zeros are left blank.
    pub fn lines_of_two(&mut self, what: &str, debit: &str, credit: &str) {
        let shown = |amount: &str| {
            if amount == "0.00" {
                String::new()
            } else {
                amount.to_owned()
            }
        };
        self.lines.push(format!(
            "    {what:<44}{:>14}{:>14}",
            shown(debit),
            shown(credit)
        ));
    }

    /// Something that must be so. What is not is shown, and the demo ends as failed.
    pub fn check(&mut self, what: &str, holds: bool) {
        if holds {
            self.say(format!("ok: {what}"));
        } else {
            self.say(format!("NOT SO: {what}"));
            self.failed.push(what.to_owned());
        }
    }

    /// Checks that failed.
    pub fn failed(&self) -> &[String] {
        &self.failed
    }

    /// The whole account.
    pub fn text(&self) -> String {
        self.lines.join("\n")
    }
}
