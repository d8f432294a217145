//! Sets the page of a dossier as PDF: the same content as the HTML, by the typesetter `typst`.
//!
//! The page is read as a tree and handed, as data, to a template (`dossier.typ`) that knows how each kind of element
//! is set. So nothing that a file or a plan holds is ever read as markup of the typesetter, and a page that gains a
//! table gains it in the PDF as well. Figures stay vectors, text can be searched, and the parts are tagged for
//! screen readers (table headers, descriptions of figures).
//!
//! The typesetter is large. Without the feature `typeset` this crate costs nothing and says how to get it.

#[cfg(feature = "typeset")]
mod tree;
#[cfg(feature = "typeset")]
mod world;

use std::fmt;

#[cfg(feature = "typeset")]
use world::DossierWorld;

/// File name of the PDF in a dossier.
pub const PDF_FILE: &str = "dossier.pdf";

/// A typeset page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pdf {
    /// The file.
    pub bytes: Vec<u8>,
    /// Letters of the page, each once, that the built-in fonts do not have: `�` stands in their place.
    pub without_glyph: Vec<char>,
}

/// Why there is no PDF.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PdfError {
    /// The program was built without the typesetter.
    NotBuiltIn,
    /// The page is not the well-formed page of a dossier.
    Page {
        /// What the parser said.
        message: String,
    },
    /// The typesetter gave up.
    Typesetting {
        /// What it said.
        message: String,
    },
}

impl PdfError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NotBuiltIn => {
                "build it in with cargo install --path crates/cli --features pdf, or leave --pdf out and print \
                 dossier.html from a browser"
            }
            Self::Page { .. } | Self::Typesetting { .. } => {
                "leave --pdf out and print dossier.html from a browser; the plan that led here would help to mend this"
            }
        }
    }
}

impl fmt::Display for PdfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotBuiltIn => write!(f, "this tightfit was built without PDF"),
            Self::Page { message } => write!(f, "the page of the dossier cannot be set as PDF: {message}"),
            Self::Typesetting { message } => write!(f, "the PDF could not be typeset: {message}"),
        }
    }
}

impl std::error::Error for PdfError {}

/// Whether this build can typeset.
///
/// # Errors
/// [`PdfError::NotBuiltIn`] where it cannot; worth asking before long work.
pub fn available() -> Result<(), PdfError> {
    if cfg!(feature = "typeset") { Ok(()) } else { Err(PdfError::NotBuiltIn) }
}

/// Sets the page of a dossier (its whole HTML) on A4. The same page always gives the same bytes.
///
/// # Errors
/// See [`PdfError`].
#[cfg(feature = "typeset")]
pub fn typeset(page: &str) -> Result<Pdf, PdfError> {
    let mut document = tree::read(page)?;
    let fonts = world::Fonts::load();
    let without_glyph = document.replace_letters(|letter| fonts.have(letter));
    let bytes = DossierWorld::new(document, fonts)?.typeset()?;
    Ok(Pdf { bytes, without_glyph })
}

/// Says that this build cannot typeset.
///
/// # Errors
/// Always [`PdfError::NotBuiltIn`].
#[cfg(not(feature = "typeset"))]
pub fn typeset(_page: &str) -> Result<Pdf, PdfError> {
    Err(PdfError::NotBuiltIn)
}

#[cfg(all(test, not(feature = "typeset")))]
mod tests {
    use super::*;

    #[test]
    fn a_build_without_the_typesetter_says_how_to_get_it() {
        assert_eq!(available(), Err(PdfError::NotBuiltIn));
        let error = typeset("<main></main>").unwrap_err();
        assert!(error.to_string().contains("built without PDF") && error.hint().contains("--features pdf"));
    }
}

#[cfg(all(test, feature = "typeset"))]
mod tests {
    use super::*;

    fn page(content: &str) -> String {
        format!(
            "<!DOCTYPE html><html><head><title>Enclosure K-12: tightness dossier</title></head><body><main>{content}</main></body></html>"
        )
    }

    /// The kinds of elements that a dossier is made of.
    const EVERYTHING: &str = "<section class=\"sheet first\" aria-labelledby=\"o\"><header class=\"top\"><div><p class=\"kind\">Tightness dossier</p>\
        <h1 id=\"o\">Enclosure</h1><p class=\"date\">4 May</p></div><div class=\"overall\"><span class=\"verdict pass\">\
        <span class=\"symbol\" aria-hidden=\"true\">✓</span> <span>pass</span></span><p>The limit is met.</p></div></header>\
        <dl class=\"facts\"><div><dt>Volume</dt><dd>1 m³</dd></div><div class=\"wide\"><dt>Gas</dt><dd class=\"hash\">argon</dd></div></dl>\
        <h2>Criteria</h2><table class=\"rows\"><thead><tr><th scope=\"col\">A</th><th scope=\"col\">B</th></tr></thead>\
        <tbody><tr><th scope=\"row\">x<span class=\"sub\">y</span></th><td class=\"keep\"><span class=\"number\">1 × 10<sup>−4</sup></span></td></tr></tbody>\
        <tfoot><tr><th scope=\"row\">all</th><td></td></tr></tfoot></table>\
        <aside class=\"cautions\"><h2>Cautions</h2><ul><li><strong>Air.</strong> Mind it.</li></ul></aside>\
        <section class=\"signatures\"><div><p class=\"role\">Tester</p><p class=\"name\">\u{a0}</p><p class=\"line\">Date</p></div></section></section>\
        <section class=\"sheet\"><header><p class=\"kind\">Test</p><h2>t</h2></header><ul class=\"verdicts\"><li>fine</li></ul>\
        <figure><svg xmlns=\"http://www.w3.org/2000/svg\" width=\"70\" height=\"30\" viewBox=\"0 0 70 30\"><title>T</title><desc>a line</desc>\
        <text x=\"5\" y=\"20\" font-family=\"sans-serif\" font-size=\"8\">Δp</text></svg><figcaption><strong>Figure 1.</strong> A line.</figcaption></figure>\
        <ol class=\"events\"><li>one</li></ol><pre class=\"plan\"><code>a = 1\n  b</code></pre></section>";

    #[test]
    fn the_same_page_always_gives_the_same_tagged_and_titled_pdf() {
        let [first, second] = [(); 2].map(|()| typeset(&page(EVERYTHING)).unwrap());
        assert!(first == second && first.bytes.starts_with(b"%PDF-1.7"));
        assert!(first.without_glyph.is_empty(), "{:?}", first.without_glyph);
        let text = String::from_utf8_lossy(&first.bytes);
        for part in ["/MarkInfo", "/Lang", "/StructTreeRoot", "pdfuaid:part"] {
            assert!(text.contains(part), "{part}");
        }
    }

    #[test]
    fn texts_of_others_are_never_read_as_markup() {
        let hostile = "#panic(\"x\") $ \\ * _ ` @label &lt;label&gt; // /* [ ] { } ~ - + = #include \"/etc/passwd\"";
        let pdf = typeset(&page(&format!("<h1>a</h1><p>{hostile}</p><pre><code>{hostile}</code></pre>"))).unwrap();
        assert!(pdf.without_glyph.is_empty());
    }

    #[test]
    fn letters_that_no_built_in_font_has_are_told() {
        let pdf = typeset(&page("<h1>手套箱 Ω é Ж</h1>")).unwrap();
        assert_eq!(pdf.without_glyph, ['套', '手', '箱']);
        assert!(String::from_utf8_lossy(&pdf.bytes).contains("pdfuaid:part"));
    }
}
