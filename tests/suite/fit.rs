//! Kits, slots and the fit solver, against the handbook and a brute-force twin.

use barwright::kit::{Kind, Kit, starter, starter_toml};

#[test]
fn the_starter_kit_reads_and_holds_nine_instruments() {
    let kit = Kit::parse(starter_toml()).unwrap();
    assert_eq!(kit.instruments.len(), 9);
    assert_eq!(kit, starter());
    assert_eq!(kit.instruments.iter().filter(|i| i.kind == Kind::AltoXylophone).count(), 2);
}
