//! The arguments as typed. What they mean together is checked in the commands.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::print::{Names, Paper, PrintOptions};

/// Songs into parts, charts and bar lists for xylophones, metallophones and glockenspiels.
#[derive(Debug, Parser)]
#[command(
    name = "barwright",
    version,
    about = "Turn a song into parts, letter charts and bar lists for instruments whose bars lift off and swap",
    after_help = "Examples:\n  barwright fit demo-songs/lantern-round.musicxml\n  barwright arrange demo-songs/lantern-round.musicxml --kit demo-songs/harbour-room.toml --out parts\n\nExit status: 0 done, 1 input or machine failed, 2 wrong usage, 3 the song does not fit the kit,\n4 a concert finished but some songs failed.",
    disable_help_subcommand = true
)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    Inspect(Inspect),
    Fit(Fit),
    Arrange(Arrange),
    Concert(Concert),
    Kit(Kit),
}

/// Say what a song is: its key, its notes, the bars it needs, its phrases and chords.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  barwright inspect demo-songs/lantern-round.musicxml\n  barwright inspect demo-songs/tide-table.mid --part 2 --json"
)]
pub(super) struct Inspect {
    /// MusicXML (.musicxml, .xml, .mxl) or MIDI (.mid, .midi) file; - reads standard input
    pub(super) song: PathBuf,
    /// Which part holds the melody: its id, name or number; P1/2 names voice 2 of part P1
    #[arg(long, value_name = "P")]
    pub(super) part: Option<String>,
    /// Find the key from the notes alone
    #[arg(long)]
    pub(super) ignore_signature: bool,
    /// Print one JSON document
    #[arg(long)]
    pub(super) json: bool,
}

/// Say whether songs fit the bars in the room, in which key best, and what to do to the bars.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  barwright fit demo-songs/lantern-round.musicxml\n  barwright fit demo-songs/*.musicxml --kit demo-songs/harbour-room.toml --top 3"
)]
pub(super) struct Fit {
    /// Song files, or folders of them
    #[arg(required = true)]
    pub(super) songs: Vec<PathBuf>,
    /// The room's kit file; left out, a starter kit is used
    #[arg(long, value_name = "KIT")]
    pub(super) kit: Option<PathBuf>,
    /// Keys to try: any, none (the song's own key only), or semitones up or down such as -2
    #[arg(long, default_value = "any", allow_hyphen_values = true, value_name = "any|none|N")]
    pub(super) transpose: String,
    /// At most so many different bars for the melody: other notes are changed, and listed
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=88))]
    pub(super) bars: Option<u16>,
    /// Let up to so many notes be changed to make it fit; every one is listed by its measure
    #[arg(long, value_name = "N")]
    pub(super) changed_notes: Option<u16>,
    /// Leave out keys that go beyond the kit's singing range
    #[arg(long)]
    pub(super) singable: bool,
    /// Which part holds the melody: its id, name or number; `all`: can every part be covered?
    #[arg(long, visible_alias = "part", value_name = "P|all")]
    pub(super) parts: Option<String>,
    /// How many ways to play it to list
    #[arg(long, default_value_t = 5, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=100))]
    pub(super) top: u16,
    /// Print a table of comma-separated values, for a spreadsheet
    #[arg(long, conflicts_with = "json")]
    pub(super) csv: bool,
    /// Print one JSON document
    #[arg(long)]
    pub(super) json: bool,
}

/// Options that arrange and concert share.
#[derive(Debug, Args)]
pub(super) struct Making {
    /// Folder to write into; it is made if need be
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    /// The room's kit file; left out, a starter kit is used
    #[arg(long, value_name = "KIT")]
    pub(super) kit: Option<PathBuf>,
    /// Leave staff notation (the slow step) out of the pack
    #[arg(long)]
    pub(super) no_staff: bool,
    /// Also print the pack to a PDF, with a browser found on this machine
    #[arg(long)]
    pub(super) pdf: bool,
    /// Paper that the pack is laid out for: a4 or letter
    #[arg(long, default_value = "a4", value_name = "PAPER", value_parser = str::parse::<Paper>)]
    pub(super) paper: Paper,
    /// Larger letters and staves in the pack
    #[arg(long)]
    pub(super) large: bool,
    /// Names of the notes in the pack: english, german, solfa or none
    #[arg(long, default_value = "english", value_name = "NAMES", value_parser = str::parse::<Names>)]
    pub(super) names: Names,
    /// Write over files that are not barwright's own
    #[arg(long)]
    pub(super) force: bool,
    /// Print one JSON document
    #[arg(long)]
    pub(super) json: bool,
}

impl Making {
    /// How the pack is printed.
    pub(super) fn print_options(&self) -> PrintOptions {
        PrintOptions { paper: self.paper, large: self.large, names: self.names }
    }
}

/// Drone patterns by name.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum Drone {
    /// Root and fifth together
    Chord,
    /// One after the other
    Broken,
    /// Root, fifth, root above: the hand crosses over
    Crossover,
    /// The pair low, then the pair an octave up
    Level,
    /// One note steps to a neighbour and back
    Moving,
    /// No drone
    None,
}

/// Make parts, charts and bar lists of one song for the room's instruments and players.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  barwright arrange demo-songs/lantern-round.musicxml --out parts\n  barwright arrange demo-songs/tide-table.mid --key D --drone broken --out parts"
)]
pub(super) struct Arrange {
    /// MusicXML (.musicxml, .xml, .mxl) or MIDI (.mid, .midi) file; - reads standard input
    pub(super) song: PathBuf,
    /// The key to play in, such as F, "D dorian" or Em; left out, the one that fits best
    #[arg(long, value_name = "K")]
    pub(super) key: Option<String>,
    /// The drone's pattern; left out, it is chosen by meter, tempo and player
    #[arg(long, value_enum)]
    pub(super) drone: Option<Drone>,
    /// Which part holds the melody: its id, name or number; P1/2 names voice 2 of part P1
    #[arg(long, value_name = "P")]
    pub(super) part: Option<String>,
    /// At most so many different bars for the melody: other notes are changed, and listed
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=88))]
    pub(super) bars: Option<u16>,
    /// Let up to so many notes be changed to make it fit; every one is listed by its measure
    #[arg(long, value_name = "N")]
    pub(super) changed_notes: Option<u16>,
    /// Give a role to an instrument, and a player if you like: drone=bass-xylophone:window
    #[arg(long, value_name = "ROLE=INSTRUMENT[:PLAYER]")]
    pub(super) with: Vec<String>,
    /// Leave a role out: voice, melody, drone, ostinato or colour
    #[arg(long, value_name = "ROLE")]
    pub(super) without: Vec<String>,
    /// How much is going on: simpler, normal or fuller
    #[arg(long, value_name = "LEVEL")]
    pub(super) level: Option<String>,
    /// Measures of drone before the song, and as many to end with
    #[arg(long, default_value_t = 0, value_name = "N", value_parser = clap::value_parser!(u8).range(0..=16))]
    pub(super) intro: u8,
    /// Measures without melody between two times through the song
    #[arg(long, default_value_t = 0, value_name = "N", value_parser = clap::value_parser!(u8).range(0..=16))]
    pub(super) interlude: u8,
    /// A word of the lyrics on which colour falls
    #[arg(long, value_name = "WORD")]
    pub(super) colour_word: Option<String>,
    #[command(flatten)]
    pub(super) making: Making,
}

/// Order of a concert's songs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Order {
    /// The order with the fewest bar changes
    Best,
    /// As given (a folder: by file name)
    Given,
}

/// Do every song of a concert, in the keys and the order that need the fewest bar changes.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  barwright concert demo-songs --kit demo-songs/harbour-room.toml --out concert\n  barwright concert demo-songs/lantern-round.musicxml demo-songs/tide-table.mid --order given --out concert"
)]
pub(super) struct Concert {
    /// Song files, or folders of them
    pub(super) paths: Vec<PathBuf>,
    /// Order of the songs: best (fewest bar changes; so if left out) or given
    #[arg(long, value_enum)]
    pub(super) order: Option<Order>,
    /// Concert file (TOML) with songs, wishes and fixed places
    #[arg(long, value_name = "FILE")]
    pub(super) plan: Option<PathBuf>,
    /// Songs worked on at a time; left out, one for each core
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(super) jobs: Option<u16>,
    #[command(flatten)]
    pub(super) making: Making,
}

/// Write, check or show a kit file: the instruments, bars and players of the room.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  barwright kit show demo-songs/harbour-room.toml\n  barwright kit check demo-songs/harbour-room.toml"
)]
pub(super) struct Kit {
    #[command(subcommand)]
    pub(super) action: KitAction,
}

#[derive(Debug, Subcommand)]
pub(super) enum KitAction {
    /// Print the starter kit, or write it to a new file to edit
    #[command(
        after_help = "Examples:\n  barwright kit starter\n  barwright kit starter my-room.toml"
    )]
    Starter {
        /// File to write; it must not be there yet
        file: Option<PathBuf>,
    },
    /// Check a kit file and say what it can and can't do
    #[command(
        after_help = "Examples:\n  barwright kit check demo-songs/harbour-room.toml\n  barwright kit starter > my-room.toml && barwright kit check my-room.toml"
    )]
    Check {
        /// The kit file
        file: PathBuf,
    },
    /// Draw each instrument as its row of bars
    #[command(
        after_help = "Examples:\n  barwright kit show\n  barwright kit show demo-songs/harbour-room.toml"
    )]
    Show {
        /// The kit file; left out, the starter kit
        file: Option<PathBuf>,
    },
}
