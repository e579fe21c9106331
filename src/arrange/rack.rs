//! What an accompanying part can use of an instrument: its bars within the song's scale.

use crate::kit::{Instrument, Kind};
use crate::score::{Key, Midi, PitchClass};

/// The bars of an instrument that can all stand on it at once: of each slot the bar that belongs to
/// the song's scale, if it has one.
#[derive(Clone, Debug)]
pub(super) struct Rack {
    /// Low to high.
    pub(super) bars: Vec<Midi>,
    /// Whether what is struck rings on.
    pub(super) rings: bool,
}

/// How long a struck metal bar goes on being heard through the others, in seconds: glockenspiels and
/// metallophones ring on for several seconds, of which about the first two and a half mask a clash
/// no more than a held note would. Common practice, no source; the figure is from memory.
pub(super) const RING_SECONDS: f64 = 2.5;

impl Rack {
    pub(super) fn new(instrument: &Instrument, key: Key) -> Rack {
        let bars = instrument
            .slots
            .iter()
            .filter_map(|slot| {
                let own = (!slot.lost).then_some(slot.bar);
                own.into_iter()
                    .chain(slot.spares.iter().copied())
                    .map(|b| b.0)
                    .find(|m| key.contains(m.class()))
            })
            .collect();
        Rack { bars, rings: instrument.rings() }
    }

    pub(super) fn has(&self, midi: Midi) -> bool {
        self.bars.binary_search(&midi).is_ok()
    }

    /// The lowest bar of a pitch class.
    pub(super) fn lowest(&self, class: PitchClass) -> Option<Midi> {
        self.bars.iter().copied().find(|m| m.class() == class)
    }
}

/// How far the two mallets of one player reach at once, in bar widths: about 70 cm between the
/// mallet heads of a seated child, over bars of about 3 cm (glockenspiels), 4 cm (soprano), 5 cm
/// (alto) and 7 cm (bass). Single bars on boxes are set up side by side where the player reaches
/// them, so their place in the row is no limit. Common practice, no source; figures from memory.
pub(super) fn reach(kind: Kind) -> i64 {
    match kind {
        Kind::SopranoGlockenspiel | Kind::AltoGlockenspiel => 15,
        Kind::SopranoXylophone | Kind::SopranoMetallophone => 15,
        Kind::AltoXylophone | Kind::AltoMetallophone | Kind::Custom => 14,
        Kind::BassXylophone | Kind::BassMetallophone => 10,
        Kind::ContrabassBars | Kind::ToneBars => i64::MAX,
    }
}

/// Where a bar lies on its instrument, in bar widths from the left: the number of its slot. A spare
/// lies where its natural lay; loose bars stand side by side in order of pitch.
pub(super) fn place(instrument: &Instrument, midi: Midi) -> Option<i64> {
    instrument.slot_of(midi).map(|i| i as i64)
}
