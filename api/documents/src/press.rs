//! Runs the typesetter: a world of a few templates, one data file and the fonts inside the program.
//!
//! What stays true: a template can read `/data.json`, its pictures and the shared look, nothing else. Fonts and the
//! standard library are loaded once and kept; what one document left in the typesetter's memory is let go
//! after a few more, so that a long-running service does not grow.

use std::sync::OnceLock;

use serde_json::Value;
use typst::comemo;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::FontStore;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

use crate::DocumentError;
use crate::wording::{Repertoire, make_printable};

/// The family every sentence is set in.
const TEXT_FAMILY: &str = "Libertinus Serif";
/// How many documents a remembered intermediate result outlives without being used.
const MEMORY_DOCUMENTS: usize = 4;

/// Which template a document is set with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Template {
    Estimate,
    Invoice,
    Statement,
    Receipt,
    Claim,
}

/// One document to print.
pub(crate) struct Order {
    pub(crate) template: Template,
    pub(crate) data: Value,
    /// The day that goes into the file as its date; the clock is never asked.
    pub(crate) issued: Datetime,
    /// JPEGs; the template reads the nth, from 0, as `/picture-n.jpg`.
    pub(crate) pictures: Vec<Vec<u8>>,
}

/// Loads fonts and the standard library, so that the first document is not slower than the next.
///
/// Doing it at start is optional and harmless to repeat.
/// # Errors
/// [`DocumentError::Setup`] if the parts built into the program are not usable.
pub fn warm_up() -> Result<(), DocumentError> {
    Press::get().map(|_| ())
}

/// Typesets an order and writes it as PDF/UA-1.
pub(crate) fn print(order: &Order) -> Result<Vec<u8>, DocumentError> {
    let press = Press::get()?;
    let result = print_with(press, order, Repertoire::Every).or_else(|error| match error {
        // Each character had a glyph, but some pair (a letter and a mark on it) had none together.
        DocumentError::Export(_) => print_with(press, order, Repertoire::TextFace),
        other => Err(other),
    });
    comemo::evict(MEMORY_DOCUMENTS);
    result
}

fn print_with(
    press: &Press,
    order: &Order,
    repertoire: Repertoire,
) -> Result<Vec<u8>, DocumentError> {
    let mut data = order.data.clone();
    make_printable(&mut data, press, repertoire);
    let main = match order.template {
        Template::Estimate => press.estimate.id(),
        Template::Invoice => press.invoice.id(),
        Template::Statement => press.statement.id(),
        Template::Receipt => press.receipt.id(),
        Template::Claim => press.claim.id(),
    };
    let job = Job {
        press,
        main,
        data: Bytes::new(serde_json::to_vec(&data)?),
        pictures: pictures(&order.pictures).map_err(DocumentError::Setup)?,
    };
    let pages: PagedDocument = typst::compile(&job)
        .output
        .map_err(|errors| DocumentError::Typeset(sentence(&errors)))?;
    let options = PdfOptions {
        ident: Smart::Auto,
        creator: Smart::Custom(Some("Nameplate".to_owned())),
        timestamp: Some(Timestamp::new_utc(order.issued)),
        standards: press.standards.clone(),
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&pages, &options).map_err(|errors| DocumentError::Export(sentence(&errors)))
}

fn sentence(errors: &[SourceDiagnostic]) -> String {
    errors
        .iter()
        .map(|error| error.message.as_str())
        .collect::<Vec<_>>()
        .join("; ")
}

/// What all documents share: fonts, library, templates.
pub(crate) struct Press {
    library: LazyHash<Library>,
    fonts: FontStore,
    standards: PdfStandards,
    look: Source,
    estimate: Source,
    invoice: Source,
    statement: Source,
    receipt: Source,
    claim: Source,
    data: FileId,
}

impl Press {
    /// The press, built at first use.
    pub(crate) fn get() -> Result<&'static Self, DocumentError> {
        static PRESS: OnceLock<Result<Press, String>> = OnceLock::new();
        PRESS
            .get_or_init(Self::build)
            .as_ref()
            .map_err(|reason| DocumentError::Setup(reason.clone()))
    }

    fn build() -> Result<Self, String> {
        let mut fonts = FontStore::new();
        fonts.extend(typst_kit::fonts::embedded());
        let standards =
            PdfStandards::new(&[PdfStandard::Ua_1]).map_err(|error| error.message().to_string())?;
        Ok(Self {
            library: LazyHash::new(Library::default()),
            fonts,
            standards,
            look: source("/plate.typ", include_str!("plate.typ"))?,
            estimate: source("/estimate.typ", include_str!("estimate.typ"))?,
            invoice: source("/invoice.typ", include_str!("invoice.typ"))?,
            statement: source("/statement.typ", include_str!("statement.typ"))?,
            receipt: source("/receipt.typ", include_str!("receipt.typ"))?,
            claim: source("/claim.typ", include_str!("claim.typ"))?,
            data: file_id("/data.json")?,
        })
    }

    /// Whether a font inside the program has a glyph for this character.
    pub(crate) fn can_print(&self, character: char, repertoire: Repertoire) -> bool {
        if character == '\n' || character == ' ' || character.is_ascii_graphic() {
            return true;
        }
        let code = u32::from(character);
        let book = self.fonts.book();
        match repertoire {
            Repertoire::Every => (0..)
                .map_while(|index| book.info(index))
                .any(|font| font.coverage.contains(code)),
            Repertoire::TextFace => (0..)
                .map_while(|index| book.info(index))
                .filter(|font| font.family == TEXT_FAMILY)
                .all(|font| font.coverage.contains(code)),
        }
    }
}

fn source(path: &str, text: &str) -> Result<Source, String> {
    Ok(Source::new(file_id(path)?, text.to_owned()))
}

/// Each picture under the name the template knows it by.
fn pictures(jpegs: &[Vec<u8>]) -> Result<Vec<(FileId, Bytes)>, String> {
    jpegs
        .iter()
        .enumerate()
        .map(|(at, jpeg)| {
            let id = file_id(&format!("/picture-{at}.jpg"))?;
            Ok((id, Bytes::new(jpeg.clone())))
        })
        .collect()
}

fn file_id(path: &str) -> Result<FileId, String> {
    let path = VirtualPath::new(path).map_err(|error| format!("{path}: {error:?}"))?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

/// The press with one document's data in it.
struct Job<'a> {
    press: &'a Press,
    main: FileId,
    data: Bytes,
    pictures: Vec<(FileId, Bytes)>,
}

impl World for Job<'_> {
    fn library(&self) -> &LazyHash<Library> {
        &self.press.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        self.press.fonts.book()
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        let Press {
            look,
            estimate,
            invoice,
            statement,
            receipt,
            claim,
            ..
        } = self.press;
        [look, estimate, invoice, statement, receipt, claim]
            .into_iter()
            .find(|source| source.id() == id)
            .cloned()
            .ok_or(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == self.press.data {
            Ok(self.data.clone())
        } else {
            let picture = self.pictures.iter().find(|(known, _)| *known == id);
            picture
                .map(|(_, bytes)| bytes.clone())
                .ok_or(FileError::AccessDenied)
        }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.press.fonts.font(index)
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        // A document's dates are given to it, or the same input would print differently tomorrow.
        None
    }
}
