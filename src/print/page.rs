//! The frame of every pack: one HTML document with its style sheet and its glyphs inside.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{Paper, PrintOptions, Staves};

/// The style sheet, with comments where a size has a reason.
const STYLE: &str = include_str!("style.css");

/// The same without its comments.
static SQUEEZED: LazyLock<String> = LazyLock::new(|| squeezed(STYLE));

/// The document around a body.
pub(super) fn document(
    title: &str,
    body: Markup,
    staves: &[&Staves],
    options: &PrintOptions,
) -> String {
    let paper = match options.paper {
        Paper::A4 => "@page{size:A4 portrait}",
        Paper::Letter => "@page{size:letter portrait}",
    };
    html! {
        (DOCTYPE)
        html lang="en" class=[options.large.then_some("large")] {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(SQUEEZED.as_str())) (PreEscaped(paper)) }
            }
            body {
                (glyphs(staves, &body))
                (body)
            }
        }
    }
    .into_string()
}

/// The glyphs that the body's staves refer to, once each.
fn glyphs(staves: &[&Staves], body: &Markup) -> Markup {
    let mut all: BTreeMap<&str, &str> = BTreeMap::new();
    for (code, shape) in staves.iter().flat_map(|s| &s.glyphs) {
        if body.0.contains(&format!("\"#g{code}\"")) {
            all.insert(code, shape);
        }
    }
    if all.is_empty() {
        return html! {};
    }
    html! {
        svg class="glyphs" width="0" height="0" aria-hidden="true" {
            defs { @for (code, shape) in all { g id={ "g" (code) } { (PreEscaped(shape)) } } }
        }
    }
}

/// The style sheet without comments and line ends.
fn squeezed(css: &str) -> String {
    let mut out = String::with_capacity(css.len());
    let mut rest = css;
    while let Some(start) = rest.find("/*") {
        out.push_str(&rest[..start]);
        rest = rest[start..].find("*/").map_or("", |end| &rest[start + end + 2..]);
    }
    out.push_str(rest);
    out.split('\n').map(str::trim).collect::<Vec<_>>().join("")
}
