//! Writes the two sample documents, to be looked at: `cargo run -p nameplate-documents --example sample -- DIR`.

use std::path::PathBuf;
use std::time::Instant;

use nameplate_documents::{EstimateDocument, InvoiceDocument, estimate_pdf, invoice_pdf, warm_up};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(
        std::env::args()
            .nth(1)
            .ok_or("name a folder to write into")?,
    );
    let estimate: EstimateDocument =
        serde_json::from_str(include_str!("../samples/estimate.json"))?;
    let invoice: InvoiceDocument = serde_json::from_str(include_str!("../samples/invoice.json"))?;
    let start = Instant::now();
    warm_up()?;
    println!("fonts and library: {:?}", start.elapsed());
    for (name, pdf) in [
        ("estimate.pdf", timed(|| estimate_pdf(&estimate))?),
        ("estimate.pdf", timed(|| estimate_pdf(&estimate))?),
        ("invoice.pdf", timed(|| invoice_pdf(&invoice))?),
    ] {
        std::fs::write(folder.join(name), &pdf)?;
        println!("{name}: {} bytes", pdf.len());
    }
    Ok(())
}

fn timed<T>(work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let done = work();
    println!("typeset in {:?}", start.elapsed());
    done
}
