//! What stands before the music: title, composer, the list of parts.

use roxmltree::Node;

use super::xml::{child, child_text, elements, one_line, text};
use crate::score::Sound;

/// The title: work and movement, or the credit that says it is the title.
pub(super) fn title(root: Node<'_, '_>) -> String {
    let work = child(root, "work").map_or("", |w| child_text(w, "work-title"));
    let movement = child_text(root, "movement-title");
    let (work, movement) = (one_line(work), one_line(movement));
    if !work.is_empty() && !movement.is_empty() {
        if work.contains(&movement) {
            return work;
        }
        if movement.contains(&work) {
            return movement;
        }
        return format!("{work}: {movement}");
    }
    if work.is_empty() && movement.is_empty() { credit(root, "title") } else { work + &movement }
}

/// Who made the music.
pub(super) fn composer(root: Node<'_, '_>) -> String {
    let creator = child(root, "identification").and_then(|n| {
        elements(n)
            .filter(|c| c.tag_name().name() == "creator")
            .find(|c| c.attribute("type").is_some_and(|t| t.eq_ignore_ascii_case("composer")))
    });
    let named = creator.map(|c| one_line(text(c))).unwrap_or_default();
    if named.is_empty() { credit(root, "composer") } else { named }
}

/// The words of the first page credit of this type.
fn credit(root: Node<'_, '_>, wanted: &str) -> String {
    elements(root)
        .filter(|n| n.tag_name().name() == "credit" && child_text(*n, "credit-type") == wanted)
        .map(|n| one_line(child_text(n, "credit-words")))
        .find(|w| !w.is_empty())
        .unwrap_or_default()
}

/// A part as the part list names it.
pub(super) struct Listed {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) sound: Sound,
}

/// The parts of the part list.
pub(super) fn parts(root: Node<'_, '_>) -> Vec<Listed> {
    let Some(list) = child(root, "part-list") else { return Vec::new() };
    elements(list)
        .filter(|n| n.tag_name().name() == "score-part")
        .map(|n| {
            let mut sound = Sound::default();
            for part in elements(n) {
                match part.tag_name().name() {
                    "score-instrument" if sound.standard.is_none() => {
                        let standard = child_text(part, "instrument-sound");
                        if !standard.is_empty() {
                            sound.standard = Some(standard.to_owned());
                        }
                    }
                    "midi-instrument" if sound.program.is_none() => {
                        // MusicXML counts programs from 1.
                        let program = child_text(part, "midi-program").parse::<u8>().ok();
                        sound.program = program.filter(|p| (1..=128).contains(p)).map(|p| p - 1);
                    }
                    _ => {}
                }
            }
            Listed {
                id: n.attribute("id").unwrap_or("").to_owned(),
                name: one_line(child_text(n, "part-name")),
                sound,
            }
        })
        .collect()
}
