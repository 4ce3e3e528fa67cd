//! What is kept of a file that was sent: PDFs as they are, pictures decoded and written anew as JPEG.
//!
//! Writing a picture anew leaves behind everything that is not the picture (place, device, previews, whatever
//! follows its end), and bounds its size. Decoding is bounded too: by pixels, by memory, and by one at a time.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, Rgb, RgbImage};
use tokio::sync::Semaphore;

use crate::base::{Error, Result};

/// The largest file that is taken: 8 MiB.
pub const FILE_BYTES_MAX: usize = 8 * 1024 * 1024;
/// Longest side of a picture as kept; small print on a plate stays readable.
const FULL_SIDE: u32 = 2_400;
/// Longest side as shown on pages and documents.
const SMALL_SIDE: u32 = 1_000;
const FULL_QUALITY: u8 = 85;
const SMALL_QUALITY: u8 = 78;
/// Most pixels of a picture that is decoded, however small its file.
const PIXELS_MAX: u64 = 40_000_000;
/// Most memory a decoder may take for one picture.
const DECODER_BYTES_MAX: u64 = 256 * 1024 * 1024;
/// What a picture is kept as.
const JPEG: &str = "image/jpeg";
const PDF: &str = "application/pdf";

/// One picture at a time, so that many at once cannot take all memory.
static DECODING: Semaphore = Semaphore::const_new(1);

/// A file as it is kept.
#[derive(Debug)]
pub struct Kept {
    pub media_type: &'static str,
    pub full: Vec<u8>,
    /// As shown on pages; none for a paper.
    pub small: Option<Vec<u8>>,
    /// Width and height in pixels of a picture.
    pub pixels: Option<(i32, i32)>,
}

/// Why a file is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    UnknownType,
    TooManyPixels,
    Broken,
}

impl Unfit {
    /// What to do about it.
    pub fn words(self) -> &'static str {
        match self {
            Self::UnknownType => "This is no JPEG, PNG, WebP or PDF. Send it as one of these.",
            Self::TooManyPixels => {
                "This picture has too many pixels. Send it with at most 40 million."
            }
            Self::Broken => "This picture cannot be read. Take or save it again.",
        }
    }
}

/// Whether a kept file of this type can be shown as a picture.
pub fn is_picture(media_type: &str) -> bool {
    media_type == JPEG
}

/// The file as it will be kept. Decoding takes long, so it leaves the async threads alone.
///
/// # Errors
/// Internal only; what is wrong with the file is the inner result.
pub async fn keep(bytes: Vec<u8>) -> Result<std::result::Result<Kept, Unfit>> {
    let _turn = DECODING
        .acquire()
        .await
        .map_err(|error| Error::caused("waiting to decode a picture", error))?;
    tokio::task::spawn_blocking(move || kept(bytes))
        .await
        .map_err(|error| Error::caused("decoding a picture", error))
}

fn kept(bytes: Vec<u8>) -> std::result::Result<Kept, Unfit> {
    if bytes.starts_with(b"%PDF-") {
        return Ok(Kept {
            media_type: PDF,
            full: bytes,
            small: None,
            pixels: None,
        });
    }
    let full = decoded(&bytes)?;
    let pixels = side(full.width()).zip(side(full.height()));
    let full_jpeg = written(&full, FULL_QUALITY)?;
    let small = within(full, SMALL_SIDE);
    Ok(Kept {
        media_type: JPEG,
        full: full_jpeg,
        small: Some(written(&small, SMALL_QUALITY)?),
        pixels,
    })
}

fn side(pixels: u32) -> Option<i32> {
    i32::try_from(pixels).ok()
}

/// The picture, upright, as large as it is kept.
fn decoded(bytes: &[u8]) -> std::result::Result<DynamicImage, Unfit> {
    let Ok(format @ (ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) =
        image::guess_format(bytes)
    else {
        return Err(Unfit::UnknownType);
    };
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(DECODER_BYTES_MAX);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|_| Unfit::Broken)?;
    let (width, height) = decoder.dimensions();
    // Formats of many bits a pixel need more than their pixels tell.
    if u64::from(width) * u64::from(height) > PIXELS_MAX
        || decoder.total_bytes() > DECODER_BYTES_MAX
    {
        return Err(Unfit::TooManyPixels);
    }
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let picture = DynamicImage::from_decoder(decoder).map_err(|_| Unfit::Broken)?;
    let mut picture = within(picture, FULL_SIDE);
    picture.apply_orientation(orientation);
    Ok(picture)
}

/// The picture with no side above `side_max`; one that is smaller stays as it is.
fn within(picture: DynamicImage, side_max: u32) -> DynamicImage {
    if picture.width() <= side_max && picture.height() <= side_max {
        picture
    } else {
        picture.thumbnail(side_max, side_max)
    }
}

fn written(picture: &DynamicImage, quality: u8) -> std::result::Result<Vec<u8>, Unfit> {
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
    opaque(picture)
        .write_with_encoder(encoder)
        .map_err(|_| Unfit::Broken)?;
    Ok(bytes)
}

/// JPEG knows no transparency: what shows through is white.
fn opaque(picture: &DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.to_rgb8();
    }
    let source = picture.to_rgba8();
    let mut flat = RgbImage::new(source.width(), source.height());
    for (from, to) in source.pixels().zip(flat.pixels_mut()) {
        let [red, green, blue, alpha] = from.0;
        *to = Rgb([red, green, blue].map(|colour| over_white(colour, alpha)));
    }
    flat
}

fn over_white(colour: u8, alpha: u8) -> u8 {
    let (colour, alpha) = (u32::from(colour), u32::from(alpha));
    let mixed = (colour * alpha + 255 * (255 - alpha) + 127) / 255;
    u8::try_from(mixed).unwrap_or(u8::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(width: u32, height: u32, format: ImageFormat) -> Vec<u8> {
        let picture = RgbImage::from_fn(width, height, |x, _| {
            if x < width / 2 {
                Rgb([200, 30, 30])
            } else {
                Rgb([20, 20, 200])
            }
        });
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, format).unwrap();
        bytes.into_inner()
    }

    /// A JPEG with an EXIF block that says "turn right" (6) and names a place.
    fn with_exif(jpeg: &[u8]) -> Vec<u8> {
        let mut exif = b"Exif\0\0II*\0\x08\0\0\0".to_vec();
        exif.extend([1, 0, 0x12, 1, 3, 0, 1, 0, 0, 0, 6, 0, 0, 0, 0, 0, 0, 0]);
        exif.extend(b"41.40338N 2.17403E");
        let length = u16::try_from(exif.len() + 2).unwrap().to_be_bytes();
        let mut bytes = jpeg[..2].to_vec();
        bytes.extend([0xFF, 0xE1]);
        bytes.extend(length);
        bytes.extend(exif);
        bytes.extend(&jpeg[2..]);
        bytes
    }

    #[test]
    fn a_picture_is_turned_upright_and_loses_what_was_hidden_in_it() {
        let sent = with_exif(&sample(60, 20, ImageFormat::Jpeg));
        let kept = kept(sent).unwrap();
        assert_eq!(kept.pixels, Some((20, 60)));
        let text = String::from_utf8_lossy(&kept.full).into_owned();
        assert!(!text.contains("Exif") && !text.contains("41.40338N"));
    }

    #[test]
    fn what_follows_the_end_of_a_picture_is_not_kept() {
        let mut sent = sample(8, 8, ImageFormat::Png);
        sent.extend(b"<script>alert(1)</script>");
        let kept = kept(sent).unwrap();
        assert!(!String::from_utf8_lossy(&kept.full).contains("script"));
        assert_eq!(kept.media_type, "image/jpeg");
    }

    #[test]
    fn a_large_picture_is_kept_smaller_and_shown_smaller_still() {
        let kept = kept(sample(3_000, 1_000, ImageFormat::WebP)).unwrap();
        assert_eq!(kept.pixels, Some((2_400, 800)));
        let small = image::load_from_memory(&kept.small.unwrap()).unwrap();
        assert_eq!((small.width(), small.height()), (1_000, 333));
    }

    #[test]
    fn what_it_is_is_told_by_its_content_alone() {
        assert_eq!(kept(b"%PDF-1.7 ...".to_vec()).unwrap().media_type, PDF);
        for unknown in [&b"<svg/>"[..], b"GIF89a", b"", b"\x7fELF"] {
            assert_eq!(kept(unknown.to_vec()).unwrap_err(), Unfit::UnknownType);
        }
        let mut cut = sample(300, 300, ImageFormat::Png);
        cut.truncate(60);
        assert_eq!(kept(cut).unwrap_err(), Unfit::Broken);
    }

    /// A PNG of a few bytes that claims 30,000 by 30,000 pixels.
    #[test]
    fn a_small_file_that_claims_to_be_huge_is_not_decoded() {
        let mut bomb = sample(1, 1, ImageFormat::Png);
        bomb[16..24].copy_from_slice(&[0, 0, 0x75, 0x30, 0, 0, 0x75, 0x30]);
        // Its checksum must fit, or it is broken before it is large.
        let sum = crc(&bomb[12..29]).to_be_bytes();
        bomb[29..33].copy_from_slice(&sum);
        assert_eq!(kept(bomb).unwrap_err(), Unfit::TooManyPixels);
    }

    fn crc(bytes: &[u8]) -> u32 {
        !bytes.iter().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
                (sum >> 1) ^ (0xEDB8_8320 & (sum & 1).wrapping_neg())
            })
        })
    }

    #[test]
    fn what_was_transparent_is_white() {
        assert_eq!(over_white(0, 0), 255);
        assert_eq!(over_white(17, 255), 17);
        assert_eq!(over_white(0, 128), 127);
    }
}
