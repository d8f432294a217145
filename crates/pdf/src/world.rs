//! What the typesetter may see: the template, the page, its pictures and the built-in fonts; no disk, no network, no
//! clock.

use std::collections::HashMap;

use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Features, Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use crate::PdfError;
use crate::tree::PageTree;

/// Stands in the properties of the PDF.
const CREATOR: &str = concat!("tightfit ", env!("CARGO_PKG_VERSION"));
const TEMPLATE: &str = include_str!("dossier.typ");

pub(crate) struct DossierWorld {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Fonts,
    template: Source,
    files: HashMap<FileId, Bytes>,
}

impl DossierWorld {
    pub(crate) fn new(page: PageTree, fonts: Fonts) -> Result<Self, PdfError> {
        // The kinds of table cells are among the typesetter's newer features.
        let features: Features = std::iter::once(Feature::A11yExtras).collect();
        let mut files = HashMap::from([(file_id("page.json")?, Bytes::from_string(page.json.to_string()))]);
        for (name, svg) in page.pictures {
            files.insert(file_id(&name)?, Bytes::from_string(svg));
        }
        Ok(Self {
            library: LazyHash::new(Library::builder().with_features(features).build()),
            book: LazyHash::new(FontBook::from_fonts(&fonts.0)),
            fonts,
            template: Source::new(file_id("dossier.typ")?, TEMPLATE.to_owned()),
            files,
        })
    }

    /// The page as PDF by the rules of PDF/UA-1, which a screen reader can read aloud. Should something in the page keep
    /// to other rules, a PDF that makes no such claim is better than none.
    pub(crate) fn typeset(&self) -> Result<Vec<u8>, PdfError> {
        let document = typst::compile::<PagedDocument>(self).output.map_err(|errors| typesetting(&errors))?;
        let export = |standards| {
            let options =
                PdfOptions { creator: Smart::Custom(Some(CREATOR.to_owned())), standards, ..PdfOptions::default() };
            typst_pdf::pdf(&document, &options)
        };
        let accessible = PdfStandards::new(&[PdfStandard::Ua_1]).ok().and_then(|standards| export(standards).ok());
        accessible.map_or_else(|| export(PdfStandards::default()).map_err(|errors| typesetting(&errors)), Ok)
    }
}

/// The built-in fonts: one family, with the letters of most of Europe's languages and the symbols of the page; it may be
/// given on freely.
pub(crate) struct Fonts(Vec<Font>);

impl Fonts {
    pub(crate) fn load() -> Self {
        let files = [
            dejavu::sans_condensed::regular(),
            dejavu::sans_condensed::bold(),
            dejavu::sans::regular(),
            dejavu::sans_mono::regular(),
            dejavu::sans_mono::bold(),
        ];
        Self(files.into_iter().flat_map(|file| Font::iter(Bytes::new(file))).collect())
    }

    /// Whether one of them has the letter.
    pub(crate) fn have(&self, letter: char) -> bool {
        self.0.iter().any(|font| font.info().coverage.contains(u32::from(letter)))
    }
}

fn file_id(name: &str) -> Result<FileId, PdfError> {
    let path =
        VirtualPath::new(name).map_err(|_| PdfError::Typesetting { message: format!("no file name: {name}") })?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

fn typesetting(errors: &[SourceDiagnostic]) -> PdfError {
    let messages: Vec<&str> = errors.iter().map(|error| error.message.as_str()).collect();
    PdfError::Typesetting { message: messages.join("; ") }
}

impl World for DossierWorld {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.template.id() { Ok(self.template.clone()) } else { Err(not_found(id)) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or_else(|| not_found(id))
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.0.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}

fn not_found(id: FileId) -> FileError {
    FileError::NotFound(id.vpath().get_without_slash().into())
}
