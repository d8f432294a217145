//! Real workbooks, built here byte by byte.

use std::io::{Cursor, Write as _};

use tightfit_ingest::Channel::GaugePressure;
use tightfit_ingest::{Format, ReadError, ReadOptions, read_bytes};
use zip::write::SimpleFileOptions;

use super::support::{PLAIN_PA, PLAIN_START_S, plan, rows, times, values};

const STYLES: &str = r#"<?xml version="1.0"?><styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="22" applyNumberFormat="1"/></cellXfs></styleSheet>"#;

/// A workbook with a notes sheet and a sheet "Log" that starts at B3.
fn workbook() -> Vec<u8> {
    let main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    let relations = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let mut log = format!(
        r#"<?xml version="1.0"?><worksheet xmlns="{main}"><sheetData><row r="3"><c r="B3" t="inlineStr"><is><t>Time (UTC)</t></is></c><c r="C3" t="inlineStr"><is><t>dP (Pa)</t></is></c></row>"#
    );
    for (i, pressure) in PLAIN_PA.iter().enumerate() {
        let row = 4 + i;
        // 46146.375 is 2026-05-04 09:00 as a spreadsheet counts.
        log += &format!(
            r#"<row r="{row}"><c r="B{row}" s="1"><v>{}</v></c><c r="C{row}"><v>{pressure}</v></c></row>"#,
            46_146.375 + i as f64 / 1440.0
        );
    }
    log += "</sheetData></worksheet>";
    let notes = format!(
        r#"<?xml version="1.0"?><worksheet xmlns="{main}"><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>note</t></is></c></row></sheetData></worksheet>"#
    );
    let files = [
        ("[Content_Types].xml", r#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/></Types>"#.to_owned()),
        ("_rels/.rels", format!(r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="{relations}/officeDocument" Target="xl/workbook.xml"/></Relationships>"#)),
        ("xl/workbook.xml", format!(r#"<?xml version="1.0"?><workbook xmlns="{main}" xmlns:r="{relations}"><sheets><sheet name="Notes" sheetId="1" r:id="rId1"/><sheet name="Log" sheetId="2" r:id="rId2"/></sheets></workbook>"#)),
        ("xl/_rels/workbook.xml.rels", format!(r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="{relations}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="{relations}/worksheet" Target="worksheets/sheet2.xml"/><Relationship Id="rId3" Type="{relations}/styles" Target="styles.xml"/></Relationships>"#)),
        ("xl/styles.xml", STYLES.to_owned()),
        ("xl/worksheets/sheet1.xml", notes),
        ("xl/worksheets/sheet2.xml", log),
    ];
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in files {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

#[test]
fn a_sheet_is_read_by_name_or_as_the_fullest_one() {
    for sheet in [None, Some("Log".to_owned())] {
        let options = plan(Vec::new(), Format { sheet, ..Format::default() });
        let recording = read_bytes("log.xlsx", &workbook(), &options).unwrap();
        assert_eq!(values(&recording, GaugePressure), PLAIN_PA);
        assert_eq!(rows(&recording), (5, 5, 0));
        assert!((times(&recording, GaugePressure)[1] - PLAIN_START_S - 60.0).abs() < 2e-3);
    }
}

#[test]
fn a_sheet_that_is_not_there_is_refused_with_those_that_are() {
    let options = plan(Vec::new(), Format { sheet: Some("Data".into()), ..Format::default() });
    let error = read_bytes("log.xlsx", &workbook(), &options).unwrap_err();
    assert_eq!(error.to_string(), "log.xlsx: no sheet 'Data'");
    assert_eq!(error.hint(), "sheets are: Notes, Log");
}

#[test]
fn a_damaged_workbook_is_refused() {
    let bytes = workbook();
    assert!(matches!(
        read_bytes("log.xlsx", &bytes[..bytes.len() / 2], &ReadOptions::default()),
        Err(ReadError::Workbook { .. })
    ));
}
