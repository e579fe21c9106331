//! What a way to play a song costs: a sum of plain units, each with a weight that a kit may set.

/// The weights of the cost, in units of one swapped bar.
///
/// They are ours, reasoned and not tuned on data; a kit file's `[weights]` table sets any of them.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Weights {
    /// For each spare bar put in: the unit. Half a minute of someone's time, and a bar to take back.
    pub bar_swapped: f64,
    /// For each bar taken off. It takes a second, helps to hit the right ones and can be left undone: a
    /// tenth. Two bars more, which the alto has beyond the soprano, so weigh less than what the smaller
    /// instrument costs as the tune's carrier.
    pub bar_off: f64,
    /// For each sharp or flat of the key's signature: what has to be read and remembered.
    pub accidental: f64,
    /// For each semitone away from the song's own key: recordings, guitars and habits are in it.
    pub semitone_moved: f64,
    /// For each semitone by which the song goes beyond the singing range, below and above.
    pub singing_semitone: f64,
    /// For each octave between where the instrument reads the tune and where it is sung.
    pub octave_moved: f64,
    /// Times the instrument's own cost of carrying the melody (see
    /// [`Kind::melody_cost`](super::Kind::melody_cost)).
    pub carrier: f64,
    /// For each hand-over of the melody at a phrase's end.
    pub hand_over: f64,
    /// For each hand-over within a phrase: two players must count together.
    pub hand_over_inside: f64,
    /// For each bar moved while the song goes on, at a phrase's end.
    pub bar_moved_inside: f64,
    /// For each note changed; a note of the tune's mean weight (length times beat) counts one.
    pub note_changed: f64,
}

impl Default for Weights {
    fn default() -> Weights {
        Weights {
            bar_swapped: 1.0,
            bar_off: 0.1,
            accidental: 0.25,
            semitone_moved: 0.1,
            singing_semitone: 1.0,
            octave_moved: 0.5,
            carrier: 1.0,
            hand_over: 1.0,
            hand_over_inside: 2.0,
            bar_moved_inside: 4.0,
            note_changed: 3.0,
        }
    }
}

impl Weights {
    /// The names of the weights as kit files write them, with their values.
    pub fn named(&self) -> [(&'static str, f64); 11] {
        const NAMES: [&str; 11] = [
            "bar_swapped",
            "bar_off",
            "accidental",
            "semitone_moved",
            "singing_semitone",
            "octave_moved",
            "carrier",
            "hand_over",
            "hand_over_inside",
            "bar_moved_inside",
            "note_changed",
        ];
        let mut values = self.values().into_iter();
        NAMES.map(|name| (name, values.next().unwrap_or(0.0)))
    }

    /// The weights in the order of their names.
    pub(super) fn values(&self) -> [f64; 11] {
        [
            self.bar_swapped,
            self.bar_off,
            self.accidental,
            self.semitone_moved,
            self.singing_semitone,
            self.octave_moved,
            self.carrier,
            self.hand_over,
            self.hand_over_inside,
            self.bar_moved_inside,
            self.note_changed,
        ]
    }

    /// Sets the weight of this name; `false` where there is none.
    pub fn set(&mut self, name: &str, value: f64) -> bool {
        let place = match name {
            "bar_swapped" => &mut self.bar_swapped,
            "bar_off" => &mut self.bar_off,
            "accidental" => &mut self.accidental,
            "semitone_moved" => &mut self.semitone_moved,
            "singing_semitone" => &mut self.singing_semitone,
            "octave_moved" => &mut self.octave_moved,
            "carrier" => &mut self.carrier,
            "hand_over" => &mut self.hand_over,
            "hand_over_inside" => &mut self.hand_over_inside,
            "bar_moved_inside" => &mut self.bar_moved_inside,
            "note_changed" => &mut self.note_changed,
            _ => return false,
        };
        *place = value;
        true
    }
}
