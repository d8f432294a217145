//! The page as a tree of plain data, its pictures apart.

use std::collections::BTreeSet;

use roxmltree::{Document, Node};
use serde_json::{Map, Value, json};

use crate::PdfError;

/// A page, ready for the template.
pub(crate) struct PageTree {
    /// `{ "title", "main": { "tag", "attributes", "children" } }`; children are such elements or texts.
    pub(crate) json: Value,
    /// File name and text of every picture (SVG).
    pub(crate) pictures: Vec<(String, String)>,
}

/// Reads the HTML of a dossier: what stands in its `<main>`, which is well-formed XML, and its title.
pub(crate) fn read(page: &str) -> Result<PageTree, PdfError> {
    let title = part(page, "title")?;
    // Elements without an end are all that tells this HTML from XML; in texts of others `<` is escaped.
    let main = part(page, "main")?.replace("<wbr>", "<wbr/>").replace("<br>", "<br/>");
    let mut pictures = Vec::new();
    let [title_xml, main_xml] =
        [title, &main].map(|text| Document::parse(text).map_err(|error| not_well_formed(&error)));
    let title = title_xml?.root_element().text().unwrap_or_default().to_owned();
    let main = element(main_xml?.root_element(), &main, false, &mut pictures);
    Ok(PageTree { json: json!({ "title": title, "main": main }), pictures })
}

impl PageTree {
    /// Puts `�` for every letter that cannot be set, and returns these letters, each once.
    pub(crate) fn replace_letters(&mut self, can_show: impl Fn(char) -> bool) -> Vec<char> {
        let mut missing = BTreeSet::new();
        let mut replace = |text: &mut String| {
            let is_missing = |letter: char| !letter.is_control() && !can_show(letter);
            if text.contains(is_missing) {
                missing.extend(text.chars().filter(|letter| is_missing(*letter)));
                *text = text.replace(is_missing, "\u{fffd}");
            }
        };
        for_each_text(&mut self.json, &mut replace);
        self.pictures.iter_mut().for_each(|(_, svg)| replace(svg));
        missing.into_iter().collect()
    }
}

fn for_each_text(value: &mut Value, change: &mut impl FnMut(&mut String)) {
    match value {
        Value::String(text) => change(text),
        Value::Array(values) => values.iter_mut().for_each(|value| for_each_text(value, change)),
        Value::Object(values) => values.values_mut().for_each(|value| for_each_text(value, change)),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// The first element `name`, tags included. It holds no other of its name; in texts of others `<` is escaped.
fn part<'a>(page: &'a str, name: &str) -> Result<&'a str, PdfError> {
    let end_tag = format!("</{name}>");
    let rest = page.find(&format!("<{name}>")).map(|from| &page[from..]);
    rest.and_then(|rest| Some(&rest[..rest.find(&end_tag)? + end_tag.len()]))
        .ok_or_else(|| PdfError::Page { message: format!("it has no element {name}") })
}

fn not_well_formed(error: &roxmltree::Error) -> PdfError {
    PdfError::Page { message: error.to_string() }
}

/// `source` is the text that the node was read from; within `<pre>` every space counts.
fn element(node: Node, source: &str, is_verbatim: bool, pictures: &mut Vec<(String, String)>) -> Value {
    let tag = node.tag_name().name();
    let mut attributes: Map<String, Value> =
        node.attributes().map(|attribute| (attribute.name().to_owned(), attribute.value().into())).collect();
    if tag == "svg" {
        let file = format!("picture-{}.svg", pictures.len() + 1);
        pictures.push((file.clone(), standalone(&source[node.range()])));
        attributes.insert("file".into(), file.into());
        let description = node.children().find(|child| child.tag_name().name() == "desc").and_then(|desc| desc.text());
        attributes.insert("alt".into(), description.unwrap_or_default().into());
        return json!({ "tag": tag, "attributes": attributes, "children": [] });
    }
    let is_verbatim = is_verbatim || tag == "pre";
    let children: Vec<Value> = node
        .children()
        .filter_map(|child| match child.text() {
            Some(text) if child.is_text() => {
                Some(Value::from(if is_verbatim { text.to_owned() } else { one_space(text) }))
            }
            _ if child.is_element() => Some(element(child, source, is_verbatim, pictures)),
            _ => None,
        })
        .collect();
    json!({ "tag": tag, "attributes": attributes, "children": children })
}

/// Runs of breakable space count as one, as in a browser.
fn one_space(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for letter in text.chars() {
        let letter = if matches!(letter, '\n' | '\t' | '\r') { ' ' } else { letter };
        if letter != ' ' || !plain.ends_with(' ') {
            plain.push(letter);
        }
    }
    plain
}

/// A picture that stands in HTML needs no namespace; a file of its own does.
fn standalone(svg: &str) -> String {
    const NAMESPACE: &str = "xmlns=\"http://www.w3.org/2000/svg\"";
    let start = &svg[..svg.find('>').unwrap_or(0)];
    if start.contains(NAMESPACE) { svg.to_owned() } else { svg.replacen("<svg", &format!("<svg {NAMESPACE}"), 1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_others_arrive_as_they_are_and_pictures_apart() {
        let page = "<!DOCTYPE html><html><head><meta charset=\"utf-8\"><title>A &amp; B</title></head><body><main>\
                    <p class=\"small\">two  \n spaces, #let &lt;b&gt;</p><pre>a\n  b</pre>\
                    <svg width=\"4\"><title>t</title><desc>what is seen</desc></svg></main></body></html>";
        let tree = read(page).unwrap();
        assert_eq!(tree.json["title"], "A & B");
        let children = &tree.json["main"]["children"];
        assert_eq!(children[0]["children"][0], "two spaces, #let <b>");
        assert_eq!(children[0]["attributes"]["class"], "small");
        assert_eq!(children[1]["children"][0], "a\n  b");
        assert_eq!(children[2]["attributes"]["alt"], "what is seen");
        assert!(tree.pictures[0].1.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"4\">"));
    }

    #[test]
    fn a_page_that_is_no_dossier_is_refused() {
        assert!(matches!(read("<title>x</title>"), Err(PdfError::Page { .. })));
        assert!(matches!(read("<title>x</title><main><p></main>"), Err(PdfError::Page { .. })));
    }
}
