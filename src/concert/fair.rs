//! Who plays how much over the whole concert.

use std::collections::BTreeMap;

use super::document::Song;
use crate::arrange::Role;
use crate::kit::Kit;

/// What a player has over the concert.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Share {
    /// The player's name.
    pub player: String,
    /// Songs with a part on an instrument.
    pub songs: usize,
    /// Songs in which the player sings, or sits out, instead.
    pub without_instrument: usize,
    /// How often each role, by name.
    pub roles: BTreeMap<&'static str, usize>,
}

/// The shares of all players of the kit, in its order.
pub fn shares(kit: &Kit, songs: &[Song]) -> Vec<Share> {
    kit.players
        .iter()
        .map(|player| {
            let mut roles = BTreeMap::new();
            let mut played = 0;
            for song in songs {
                let mut plays = false;
                for part in &song.parts {
                    if part.player.as_deref() == Some(&player.name) && part.role != Role::Voice {
                        *roles.entry(part.role.name()).or_insert(0) += 1;
                        plays = true;
                    }
                }
                played += usize::from(plays);
            }
            Share {
                player: player.name.clone(),
                songs: played,
                without_instrument: songs.len() - played,
                roles,
            }
        })
        .collect()
}
