//! SVG into PNG, with the letters of the fonts that the system has.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::{Database, Family, Query};
use resvg::usvg::{Options, Tree};

/// Pixels for each unit: 192 to the inch.
const SCALE: f32 = 2.0;

/// Says in each file who made it: a chunk `tEXt` (ISO/IEC 15948) of its length,
/// its words and its check.
const MADE_BY_US: &[u8] = b"\0\0\0\x13tEXtSoftware\0tapewright\x9e\xed\x92\x8c";
/// It stands behind the signature of 8 bytes and the chunk `IHDR` of 25.
const MADE_AT: usize = 33;

/// Whether a file that begins so was drawn by this program.
pub fn is_ours(first: &[u8]) -> bool {
    first.starts_with(b"\x89PNG")
        && first
            .get(MADE_AT..)
            .is_some_and(|it| it.starts_with(MADE_BY_US))
}

/// Fonts without serifs that systems come with; any other one serves as well.
const USUAL: [&str; 6] = [
    "DejaVu Sans",
    "Liberation Sans",
    "Noto Sans",
    "Arial",
    "Helvetica",
    "Segoe UI",
];

/// Why there is no picture in pixels.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum PngError {
    /// Its words could not be drawn.
    #[error(
        "this system has no font, so the pictures would be without words; install one (on Debian fonts-dejavu-core)"
    )]
    NoFont,
    /// The drawing itself failed.
    #[error("the picture could not be drawn: {0}; take its .svg instead")]
    NotDrawn(String),
}

/// The fonts of the system, read once; `None` where it has none.
static FONTS: LazyLock<Option<Arc<Database>>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    fonts.load_system_fonts();
    with_plain_letters(fonts)
});

fn with_plain_letters(mut fonts: Database) -> Option<Arc<Database>> {
    let is_there = |name: &&&str| {
        let families = &[Family::Name(name)];
        let query = Query {
            families,
            ..Query::default()
        };
        fonts.query(&query).is_some()
    };
    let usual = USUAL.iter().find(is_there).map(|it| (*it).to_owned());
    let any = || Some(fonts.faces().next()?.families.first()?.0.clone());
    let chosen = usual.or_else(any)?;
    fonts.set_sans_serif_family(chosen);
    Some(Arc::new(fonts))
}

pub(super) fn of(svg: &str) -> Result<Vec<u8>, PngError> {
    drawn(svg, FONTS.clone().ok_or(PngError::NoFont)?)
}

fn failed(error: &dyn std::fmt::Display) -> PngError {
    PngError::NotDrawn(error.to_string())
}

fn drawn(svg: &str, fontdb: Arc<Database>) -> Result<Vec<u8>, PngError> {
    let options = Options {
        fontdb,
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|error| failed(&error))?;
    let size = tree.size().to_int_size().scale_by(SCALE);
    let mut pixels = size
        .and_then(|size| Pixmap::new(size.width(), size.height()))
        .ok_or_else(|| failed(&"it has no size"))?;
    let transform = Transform::from_scale(SCALE, SCALE);
    resvg::render(&tree, transform, &mut pixels.as_mut());
    let mut file = pixels.encode_png().map_err(|error| failed(&error))?;
    file.splice(MADE_AT..MADE_AT, MADE_BY_US.iter().copied());
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_font_nothing_is_drawn_and_it_is_said() {
        assert!(with_plain_letters(Database::new()).is_none());
        assert!(PngError::NoFont.to_string().contains("no font"));
    }

    /// The check of a chunk is a CRC-32 of its kind and its words (ISO/IEC
    /// 15948, annex D).
    #[test]
    fn the_mark_is_a_sound_chunk_and_no_other_file_has_it() {
        let (words, check) = MADE_BY_US[4..].split_at(MADE_BY_US.len() - 8);
        let crc = words.iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
                (crc >> 1) ^ (0xedb8_8320 * (crc & 1))
            })
        });
        assert_eq!(check, (!crc).to_be_bytes());
        assert_eq!(MADE_BY_US[..4], (words.len() as u32 - 4).to_be_bytes());
        let other = Pixmap::new(2, 2)
            .expect("a size")
            .encode_png()
            .expect("a file");
        assert!(!is_ours(&other) && !is_ours(b"") && !is_ours(b"\x89PNG"));
    }
}
