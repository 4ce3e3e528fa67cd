//! CSV as it arrives: bytes in, records out, never more than one record in memory. Price lists and banks' files come so.

use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// Bytes of one record; a longer one is no row of a file.
const RECORD_MAX: usize = 64 * 1024;
/// Fields of one record.
const FIELDS_MAX: usize = 256;

/// Where the reader stands between quotation marks, as RFC 4180 section 2 has them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quotes {
    /// At the first byte of a field: only there a mark opens.
    Before,
    /// In a field without them.
    Without,
    /// Between two.
    Inside,
    /// Behind one that closes, unless it is the first of a doubled one.
    Behind,
}

/// Reads records of RFC 4180 from pieces of any size.
pub struct Decoder {
    reader: Reader,
    delimiter: u8,
    bytes: Vec<u8>,
    byte_count: usize,
    ends: Vec<usize>,
    end_count: usize,
    /// The line that is being read, from 1.
    line: i64,
    /// The line on which the record began; none between records.
    began: Option<i64>,
    quotes: Quotes,
    /// The line on which the last quotation mark opened.
    opened: i64,
}

/// One record.
pub struct Record<'a> {
    /// The line on which it begins.
    pub line: i64,
    bytes: &'a [u8],
    ends: &'a [usize],
}

impl<'a> Record<'a> {
    /// The field at this position, from 0; none behind the last.
    pub fn field(&self, at: usize) -> Option<&'a [u8]> {
        let end = *self.ends.get(at)?;
        let start = match at.checked_sub(1) {
            Some(before) => *self.ends.get(before)?,
            None => 0,
        };
        self.bytes.get(start..end)
    }

    /// How many fields it has.
    pub fn field_count(&self) -> usize {
        self.ends.len()
    }
}

/// Why what was sent is no list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoList {
    /// A quotation mark is not closed where its field ends, so the rows behind it cannot be told apart.
    #[error(
        "A quotation mark opens on line {line} and is not closed where its field ends. Close it, or double it where it \
         belongs to the text."
    )]
    OpenQuote {
        /// The line on which it opens.
        line: i64,
    },
    /// A record that is larger than any row of a file.
    #[error(
        "The row that begins on line {line} is longer than 64 KiB or has more than 256 columns."
    )]
    TooLarge {
        /// The line on which it begins.
        line: i64,
    },
}

impl NoList {
    /// The line to look at.
    pub fn line(self) -> i64 {
        match self {
            Self::OpenQuote { line } | Self::TooLarge { line } => line,
        }
    }
}

impl Decoder {
    /// For records whose fields this byte parts, most often a comma.
    pub fn new(delimiter: u8) -> Self {
        Self {
            reader: ReaderBuilder::new().delimiter(delimiter).build(),
            delimiter,
            bytes: vec![0; RECORD_MAX],
            byte_count: 0,
            ends: vec![0; FIELDS_MAX],
            end_count: 0,
            line: 1,
            began: None,
            quotes: Quotes::Before,
            opened: 1,
        }
    }

    /// Takes the next piece; an empty one says that nothing follows. Each whole record is given to `take`.
    pub fn feed(
        &mut self,
        mut piece: &[u8],
        mut take: impl FnMut(Record<'_>),
    ) -> Result<(), NoList> {
        let is_end = piece.is_empty();
        if is_end && self.quotes == Quotes::Inside {
            return Err(NoList::OpenQuote { line: self.opened });
        }
        loop {
            if self.began.is_none() {
                piece = self.skip_line_ends(piece);
            }
            if piece.is_empty() && !is_end {
                return Ok(());
            }
            let began = *self.began.get_or_insert(self.line);
            let room = self.bytes.get_mut(self.byte_count..);
            let ends = self.ends.get_mut(self.end_count..);
            let (Some(room), Some(ends)) = (room, ends) else {
                return Err(self.too_large(began));
            };
            let (result, read, written, ended) = self.reader.read_record(piece, room, ends);
            let (seen, rest) = piece.split_at_checked(read).unwrap_or((piece, &[]));
            for byte in seen {
                self.step(*byte)?;
            }
            piece = rest;
            self.byte_count = self.byte_count.saturating_add(written);
            self.end_count = self.end_count.saturating_add(ended);
            match result {
                ReadRecordResult::InputEmpty if is_end => {}
                ReadRecordResult::OutputFull | ReadRecordResult::OutputEndsFull => {
                    return Err(self.too_large(began));
                }
                ReadRecordResult::Record => {
                    take(Record {
                        line: began,
                        bytes: self.bytes.get(..self.byte_count).unwrap_or_default(),
                        ends: self.ends.get(..self.end_count).unwrap_or_default(),
                    });
                    (self.byte_count, self.end_count, self.began) = (0, 0, None);
                }
                ReadRecordResult::InputEmpty | ReadRecordResult::End => return Ok(()),
            }
        }
    }

    /// Counts lines and follows quotation marks. A closed field goes on with a comma or the end of the line; one that
    /// went over several lines and then goes on with text was closed by the mark of another field.
    fn step(&mut self, byte: u8) -> Result<(), NoList> {
        self.quotes = match (self.quotes, byte) {
            (Quotes::Inside, b'"') => Quotes::Behind,
            (Quotes::Behind, b'"') | (Quotes::Inside, _) => Quotes::Inside,
            (_, b'\n' | b'\r') => Quotes::Before,
            (_, other) if other == self.delimiter => Quotes::Before,
            (Quotes::Before, b'"') => {
                self.opened = self.line;
                Quotes::Inside
            }
            (Quotes::Behind, other) if self.opened < self.line && other != b' ' => {
                return Err(NoList::OpenQuote { line: self.opened });
            }
            _ => Quotes::Without,
        };
        if byte == b'\n' {
            self.line = self.line.saturating_add(1);
        }
        Ok(())
    }

    /// A record without end is most often a quotation mark without one.
    fn too_large(&self, began: i64) -> NoList {
        match self.quotes {
            Quotes::Inside => NoList::OpenQuote { line: self.opened },
            _ => NoList::TooLarge { line: began },
        }
    }

    /// Passes over ends of lines between records, so that a record begins where its first field does.
    fn skip_line_ends<'a>(&mut self, piece: &'a [u8]) -> &'a [u8] {
        let mut rest = piece;
        while let [first @ (b'\n' | b'\r'), tail @ ..] = rest {
            if *first == b'\n' {
                self.line = self.line.saturating_add(1);
            }
            rest = tail;
        }
        rest
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(pieces: &[&[u8]]) -> Vec<(i64, Vec<String>)> {
        tried(pieces).unwrap()
    }

    fn tried(pieces: &[&[u8]]) -> Result<Vec<(i64, Vec<String>)>, NoList> {
        let mut decoder = Decoder::new(b',');
        let mut records = Vec::new();
        for piece in pieces
            .iter()
            .filter(|piece| !piece.is_empty())
            .chain([&&b""[..]])
        {
            decoder.feed(piece, |record| {
                let fields = (0..record.field_count())
                    .map(|at| String::from_utf8_lossy(record.field(at).unwrap()).into_owned())
                    .collect();
                records.push((record.line, fields));
            })?;
        }
        Ok(records)
    }

    fn record(line: i64, fields: &[&str]) -> (i64, Vec<String>) {
        (
            line,
            fields.iter().map(|field| (*field).to_owned()).collect(),
        )
    }

    #[test]
    fn a_record_is_named_by_the_line_it_begins_on_whatever_ends_the_lines() {
        let wanted = [
            record(1, &["number", "cost"]),
            record(3, &["A", "two\nlines"]),
            record(5, &["B", "1"]),
        ];
        assert_eq!(read(&[b"number,cost\n\nA,\"two\nlines\"\nB,1"]), wanted);
        let windows = b"number,cost\r\n\r\nA,\"two\nlines\"\r\nB,1\r\n";
        assert_eq!(read(&[windows]), wanted);
    }

    #[test]
    fn a_byte_order_mark_is_no_part_of_the_first_name() {
        let records = read(&[b"\xef\xbb\xbfnumber,cost\nA,1\n"]);
        assert_eq!(records[0], record(1, &["number", "cost"]));
    }

    fn refused(pieces: &[&[u8]]) -> NoList {
        let mut decoder = Decoder::new(b',');
        let mut outcomes = pieces.iter().map(|piece| decoder.feed(piece, |_| {}));
        outcomes.find_map(Result::err).expect("it is refused")
    }

    /// RFC 4180 section 2: a field that begins with a quotation mark ends with one.
    #[test]
    fn a_quote_that_is_not_closed_is_named_by_the_line_on_which_it_opens() {
        let opens_on = |line| NoList::OpenQuote { line };
        let never = b"number,text\n\nA,\"two\nlines\"\nB,x\nC,\"Pump\nD,y\n";
        assert_eq!(refused(&[never, b""]), opens_on(6));
        let by_another = b"number,text,cost\nA,\"Pump,1\nB,\"Board\",2\n";
        assert_eq!(refused(&[by_another, b""]), opens_on(2));
        let (first, second) = by_another.split_at(22);
        assert_eq!(refused(&[first, second, b""]), opens_on(2));
        let endless = vec![b'x'; 40_000];
        assert_eq!(
            refused(&[b"a,b\n1,\"\"\"\n\"\n2,\"", &endless, &endless]),
            opens_on(4)
        );
    }

    #[test]
    fn a_record_without_end_is_not_gathered_for_ever() {
        let endless = vec![b'x'; 40_000];
        let too_large = NoList::TooLarge { line: 2 };
        assert_eq!(refused(&[b"a,b\n", &endless, &endless]), too_large);
    }

    #[test]
    fn quotes_within_a_text_and_blanks_behind_a_closed_one_are_left_alone() {
        let records = read(&[b"a,5\" tube,\"say \"\"so\"\"\"\n\"two\nlines\" ,1,\"5\" tube\"\n"]);
        assert_eq!(
            records,
            [
                record(1, &["a", "5\" tube", "say \"so\""]),
                record(2, &["two\nlines ", "1", "5 tube\""]),
            ]
        );
    }

    proptest! {
        #[test]
        fn records_are_the_same_however_the_bytes_are_cut(
            text in "[ab,\"\r\n]{0,60}", cuts in prop::collection::vec(0_usize..60, 0..6),
        ) {
            let bytes = text.as_bytes();
            let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(bytes.len())).collect();
            cuts.extend([0, bytes.len()]);
            cuts.sort_unstable();
            let pieces: Vec<&[u8]> = cuts.windows(2).map(|pair| &bytes[pair[0]..pair[1]]).collect();
            prop_assert_eq!(tried(&pieces), tried(&[bytes]));
        }
    }
}
