//! The pack: what every page must carry, and that the page stands on its own.

use barwright::print::{
    ConcertPages, Names, Paper, PrintOptions, SongPage, Staves, player_pack, song_pack,
};
use barwright::score::{Key, Mode};
use barwright::{analysis, arrange, import, kit};

/// A tune of our own in G major, 3/4, with a pickup, a repeat, two endings and words.
const TUNE: &str = include_str!("../../fixtures/print/lantern.musicxml");

const KIT: &str = r##"
name = "Harbour room"
[[instrument]]
id = "alto-xylophone"
kind = "alto xylophone"
marks = { C = "#d33", F = "~" }
[[instrument]]
id = "bass-xylophone"
kind = "bass xylophone"
fillers = true
[[instrument]]
id = "alto-glockenspiel"
kind = "alto glockenspiel"
fillers = true
[[player]]
name = "blue chair"
instruments = ["bass-xylophone"]
strikes_per_minute = 90
position = "wheelchair"
reads = "letters"
[[player]]
name = "window"
instruments = ["alto-xylophone"]
reads = "staff"
[[player]]
name = "door"
instruments = ["alto-glockenspiel"]
reads = "ear"
position = "bed"
"##;

fn made(kit: &kit::Kit) -> (analysis::Analysis, arrange::Arrangement) {
    let song = import::read(TUNE.as_bytes()).unwrap().score;
    let line = import::melody(&song, None).unwrap().line;
    let found = analysis::analyse(&song, &line, analysis::Options::default());
    // The key in which the goldens were looked at, whatever the weights say now.
    let key = Key::new("F".parse().unwrap(), Mode::Major);
    let ask = kit::FitRequest { key: Some(key), ..kit::FitRequest::default() };
    let fit = kit::fit(&song, &line, &found, kit, &ask);
    let arranged =
        arrange::arrange(&song, &line, &found, kit, &fit.options[0], &Default::default()).unwrap();
    (found, arranged)
}

fn page(options: &PrintOptions, staves: &Staves) -> String {
    let kit = kit::Kit::parse(KIT).unwrap();
    let (found, arranged) = made(&kit);
    song_pack(
        &SongPage {
            title: "Lantern <& boat>",
            composer: "",
            source: "lantern.musicxml",
            analysis: &found,
            kit: &kit,
            arrangement: &arranged,
            staves,
            warnings: &[],
        },
        options,
    )
}

/// The page read as XML, which a page of ours is but for its first line and open `meta` tags.
fn as_xml(html: &str) -> String {
    let body = html.find("<body>").unwrap();
    html[body..html.find("</html>").unwrap()].to_owned()
}

#[test]
fn the_page_is_well_formed_and_asks_for_nothing_from_outside() {
    let html = page(&PrintOptions::default(), &Staves::left_out("Left out for the test."));
    let xml = as_xml(&html);
    let doc = roxmltree::Document::parse(&xml).unwrap();
    for node in doc.descendants() {
        for name in ["src", "href"] {
            if let Some(link) = node.attribute(name) {
                assert!(link.starts_with('#'), "{link}");
                let target = &link[1..];
                assert!(doc.descendants().any(|n| n.attribute("id") == Some(target)), "{link}");
            }
        }
    }
    let mut ids: Vec<&str> = doc.descendants().filter_map(|n| n.attribute("id")).collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all, "ids are unique");
    assert!(!html.contains("url(http") && !html.contains("@import") && !html.contains("<script"));
    assert!(xml.contains("Lantern &lt;&amp; boat&gt;"));
}

#[test]
fn overview_setups_parts_and_score_are_all_there() {
    let kit = kit::Kit::parse(KIT).unwrap();
    let (_, arranged) = made(&kit);
    let html = page(&PrintOptions::default(), &Staves::left_out("Left out for the test."));
    let xml = as_xml(&html);
    let doc = roxmltree::Document::parse(&xml).unwrap();
    assert!(html.contains("for the licensed practitioner and local rules to decide"));
    assert!(html.contains("Left out for the test."));
    let pictures = doc.descendants().filter(|n| n.attribute("class") == Some("bars")).count();
    assert_eq!(pictures, arranged.setups.len());
    for plan in &arranged.parts {
        assert!(xml.contains(&format!("id=\"s1-p{}\"", plan.part)));
    }
    // Every picture says in words what becomes of each of its bars.
    let titles: Vec<&str> =
        doc.descendants().filter(|n| n.has_tag_name("title")).filter_map(|n| n.text()).collect();
    for setup in &arranged.setups {
        let instrument = &kit.instruments[setup.instrument];
        let said = titles.iter().find(|t| t.starts_with(&format!("{},", instrument.name))).unwrap();
        assert_eq!(said.matches(", ").count(), instrument.slots.len(), "{said}");
        assert_eq!(said.matches(" keep").count(), setup.counts().keep, "{said}");
        let off = setup.counts().remove + setup.counts().fill;
        assert_eq!(said.matches(" off").count(), off, "{said}");
    }
}

#[test]
fn the_chart_holds_every_strike() {
    let kit = kit::Kit::parse(KIT).unwrap();
    let (_, arranged) = made(&kit);
    let html = page(&PrintOptions::default(), &Staves::left_out("-"));
    let xml = as_xml(&html);
    let doc = roxmltree::Document::parse(&xml).unwrap();
    use barwright::score::Slide;
    for plan in &arranged.parts {
        let id = format!("s1-p{}", plan.part);
        let sheet = doc.descendants().find(|n| n.attribute("id") == Some(&id)).unwrap();
        let tones = sheet.descendants().filter(|n| n.attribute("class") == Some("tone")).count();
        // A slide shows its first and last bar alone.
        let struck = arranged.score.parts[plan.part]
            .notes
            .iter()
            .filter(|n| !n.grace && n.slide != Some(Slide::Through))
            .count();
        assert_eq!(tones, struck, "{id}");
    }
}

#[test]
fn paper_size_and_large_print_are_in_the_page() {
    let none = Staves::left_out("-");
    let letter = PrintOptions { paper: Paper::Letter, large: true, names: Names::German };
    let html = page(&letter, &none);
    assert!(html.contains("@page{size:letter portrait}") && html.contains(r#"class="large""#));
    assert!(page(&PrintOptions::default(), &none).contains("@page{size:A4 portrait}"));
}

/// Every system is engraved, nothing has an id of its own, the glyphs are there once.
#[cfg(feature = "engrave")]
#[test]
fn engraved_systems_share_their_glyphs() {
    let kit = kit::Kit::parse(KIT).unwrap();
    let (_, arranged) = made(&kit);
    let options = PrintOptions::default();
    let wanted = barwright::print::needs_staff(&kit, &arranged);
    let parts: Vec<Option<&str>> = wanted.iter().map(|w| w.then_some(TUNE)).collect();
    let staves = Staves::engrave(TUNE, &parts, arranged.key, &options);
    assert_eq!(staves.reason(), None);
    let html = page(&options, &staves);
    let xml = as_xml(&html);
    let doc = roxmltree::Document::parse(&xml).unwrap();
    let links =
        doc.descendants().filter_map(|n| n.attribute("href")).filter(|h| h.starts_with("#gE"));
    let mut n = 0;
    for link in links {
        n += 1;
        assert_eq!(doc.descendants().filter(|n| n.attribute("id") == Some(&link[1..])).count(), 1);
    }
    assert!(n > 20, "{n} glyphs used");
    // The same, whatever the threads.
    let again: Vec<String> = std::thread::scope(|s| {
        let jobs: Vec<_> = (0..4)
            .map(|_| {
                s.spawn(|| page(&options, &Staves::engrave(TUNE, &parts, arranged.key, &options)))
            })
            .collect();
        jobs.into_iter().map(|j| j.join().unwrap()).collect()
    });
    assert!(again.iter().all(|a| *a == html));
    if let Ok(out) = std::env::var("BARWRIGHT_LOOK") {
        std::fs::write(out, html).unwrap();
    }
}

/// No private characters are left in the page's text, for which no reader has a font.
#[test]
fn the_page_needs_no_font_of_its_own() {
    let html = page(&PrintOptions::default(), &Staves::left_out("-"));
    assert!(!html.chars().any(|c| ('\u{E000}'..='\u{F8FF}').contains(&c)));
}

fn pieces(class: &str) -> Vec<String> {
    let html = page(&PrintOptions::default(), &Staves::left_out("-"));
    let xml = as_xml(&html);
    let doc = roxmltree::Document::parse(&xml).unwrap();
    doc.descendants()
        .filter(|n| n.attribute("class") == Some(class))
        .map(|n| xml[n.range()].replace('>', ">\n"))
        .collect()
}

/// The bar picture as it was looked at and found good.
#[test]
fn bar_picture_as_looked_at() {
    insta::assert_snapshot!("bar_picture", pieces("bars")[0]);
}

/// The letter chart as it was looked at and found good.
#[test]
fn letter_chart_as_looked_at() {
    insta::assert_snapshot!("letter_chart", pieces("chart")[0]);
}

/// Every link of a player's own pack leads somewhere, also where the first part has no instrument.
#[test]
fn a_players_links_lead_somewhere() {
    let kit = kit::Kit::parse(KIT).unwrap();
    let (found, mut arranged) = made(&kit);
    for plan in &mut arranged.parts {
        if plan.role == arrange::Role::Voice {
            plan.player = Some(1);
        }
    }
    let staves = Staves::left_out("-");
    let songs = [SongPage {
        title: "Lantern",
        composer: "",
        source: "",
        analysis: &found,
        kit: &kit,
        arrangement: &arranged,
        staves: &staves,
        warnings: &[],
    }];
    let concert =
        ConcertPages { title: "Evening", kit: &kit, songs: &songs, cards: &[], failed: &[] };
    for player in 0..kit.players.len() {
        let html = player_pack(&concert, player, &PrintOptions::default());
        let xml = as_xml(&html);
        let doc = roxmltree::Document::parse(&xml).unwrap();
        let links: Vec<&str> = doc.descendants().filter_map(|n| n.attribute("href")).collect();
        for link in links {
            let ends = doc.descendants().filter(|n| n.attribute("id") == link.strip_prefix('#'));
            assert_eq!(ends.count(), 1, "{link} for player {player}");
        }
    }
}
