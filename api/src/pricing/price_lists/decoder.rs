//! CSV as it arrives: bytes in, records out, never more than one record in memory.

use csv_core::{ReadRecordResult, Reader};

/// Bytes of one record; a longer one is a quote that was never closed.
const RECORD_MAX: usize = 64 * 1024;
/// Fields of one record.
const FIELDS_MAX: usize = 256;

/// Reads records of RFC 4180 from pieces of any size.
pub struct Decoder {
    reader: Reader,
    bytes: Vec<u8>,
    byte_count: usize,
    ends: Vec<usize>,
    end_count: usize,
    /// The line that is being read, from 1.
    line: i64,
    /// The line on which the record began; none between records.
    began: Option<i64>,
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
    pub fn len(&self) -> usize {
        self.ends.len()
    }
}

/// A record that is larger than any row of a price list.
#[derive(Debug)]
pub struct TooLarge {
    /// The line on which it begins.
    pub line: i64,
}

impl Decoder {
    pub fn new() -> Self {
        Self {
            reader: Reader::new(),
            bytes: vec![0; RECORD_MAX],
            byte_count: 0,
            ends: vec![0; FIELDS_MAX],
            end_count: 0,
            line: 1,
            began: None,
        }
    }

    /// Takes the next piece; an empty one says that nothing follows. Each whole record is given to `take`.
    pub fn feed(
        &mut self,
        mut piece: &[u8],
        mut take: impl FnMut(Record<'_>),
    ) -> Result<(), TooLarge> {
        let is_end = piece.is_empty();
        loop {
            if self.began.is_none() {
                piece = self.skip_line_ends(piece);
            }
            if piece.is_empty() && !is_end {
                return Ok(());
            }
            let began = *self.began.get_or_insert(self.line);
            let too_large = || TooLarge { line: began };
            let room = self.bytes.get_mut(self.byte_count..);
            let ends = self.ends.get_mut(self.end_count..);
            let (Some(room), Some(ends)) = (room, ends) else {
                return Err(too_large());
            };
            let (result, read, written, ended) = self.reader.read_record(piece, room, ends);
            let (seen, rest) = piece.split_at_checked(read).unwrap_or((piece, &[]));
            self.line = seen
                .iter()
                .filter(|byte| **byte == b'\n')
                .fold(self.line, |line, _| line.saturating_add(1));
            piece = rest;
            self.byte_count = self.byte_count.saturating_add(written);
            self.end_count = self.end_count.saturating_add(ended);
            match result {
                ReadRecordResult::InputEmpty if is_end => {}
                ReadRecordResult::OutputFull | ReadRecordResult::OutputEndsFull => {
                    return Err(too_large());
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
        let mut decoder = Decoder::new();
        let mut records = Vec::new();
        for piece in pieces
            .iter()
            .filter(|piece| !piece.is_empty())
            .chain([&&b""[..]])
        {
            decoder
                .feed(piece, |record| {
                    let fields = (0..record.len())
                        .map(|at| String::from_utf8_lossy(record.field(at).unwrap()).into_owned())
                        .collect();
                    records.push((record.line, fields));
                })
                .unwrap();
        }
        records
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

    #[test]
    fn a_quote_that_is_never_closed_is_not_gathered_for_ever() {
        let mut decoder = Decoder::new();
        let endless = vec![b'x'; 40_000];
        decoder.feed(b"a,b\n\"", |_| {}).unwrap();
        decoder.feed(&endless, |_| {}).unwrap();
        let refused = decoder.feed(&endless, |_| {}).unwrap_err();
        assert_eq!(refused.line, 2);
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
            prop_assert_eq!(read(&pieces), read(&[bytes]));
        }
    }
}
