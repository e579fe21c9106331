//! The form: the song's own measures with their repeats and verses, and what is asked for around
//! them: an introduction and an ending of the accompaniment, an interlude without melody.

use super::request::ArrangeRequest;
use crate::score::{EndingStop, Jump, Line, Measure, Meter, Score, Time};

/// The measures of the arrangement.
#[derive(Clone, Debug)]
pub(super) struct Form {
    pub(super) measures: Vec<Measure>,
    /// How far the song itself is moved back by the introduction.
    pub(super) offset: Time,
    /// Whether measures follow on the song's last one.
    pub(super) closing: bool,
    /// Measures of the introduction that the drone has to itself: the first half of them.
    pub(super) alone: usize,
    /// What the leader should know of it.
    pub(super) remarks: Vec<String>,
}

/// Lays the measures out.
///
/// * The introduction has `intro` measures of the first full meter. Before a pickup its last one is
///   short by the pickup, so that the two make one full measure.
/// * A repeat back to the beginning goes back to the song's first measure, not to the introduction:
///   its sign is written out there; likewise a da capo becomes a dal segno.
/// * The interlude stands at the end of the song as its first ending; the last time through ends
///   with one measure of accompaniment instead. Where the song has repeats of its own, it is followed by a dal segno al fine,
///   which plays the song once more without its repeats.
/// * The ending has as many measures as the introduction, after a song without a fine.
pub(super) fn lay_out(score: &Score, line: &Line, ask: &ArrangeRequest) -> Form {
    let mut form = Form {
        measures: score.measures.clone(),
        offset: Time::ZERO,
        closing: false,
        alone: 0,
        remarks: Vec::new(),
    };
    let has_jumps = form.measures.iter().any(|m| !m.jumps.is_empty());
    let has_repeats =
        form.measures.iter().any(|m| m.repeat_end.is_some() || !m.ending_start.is_empty());
    if ask.interlude > 0 {
        add_interlude(&mut form, line, ask.interlude, has_jumps, has_repeats);
    }
    if ask.intro > 0 {
        let jumps = form.measures.iter().any(|m| !m.jumps.is_empty());
        if jumps {
            form.remarks.push(
                "The song ends at its fine, so no measures are added after it; let the drone ring out."
                    .to_owned(),
            );
        } else if !form.closing {
            // (An interlude brings an ending of its own.)
            add_ending(&mut form, ask.intro);
        }
        add_introduction(&mut form, ask.intro);
    }
    // The starts follow from the durations.
    let mut at = Time::ZERO;
    for measure in &mut form.measures {
        measure.start = at;
        at += measure.duration;
    }
    form
}

fn add_introduction(form: &mut Form, count: u8) {
    let Some(first) = form.measures.first() else { return };
    let meter = first.meter;
    let pickup = if first.lead.is_positive() { first.duration } else { Time::ZERO };
    let open_repeat = form
        .measures
        .iter()
        .find(|m| m.repeat_start || m.repeat_end.is_some())
        .is_some_and(|m| !m.repeat_start);
    let da_capo = form.measures.iter().any(|m| m.jumps.contains(&Jump::DaCapo));
    if let Some(first) = form.measures.first_mut() {
        first.repeat_start |= open_repeat;
        if da_capo {
            first.jumps.push(Jump::Segno);
        }
    }
    if da_capo {
        for measure in &mut form.measures {
            for jump in &mut measure.jumps {
                if *jump == Jump::DaCapo {
                    *jump = Jump::DalSegno;
                }
            }
        }
    }
    form.alone = usize::from(count).div_ceil(2);
    let mut intro = Vec::with_capacity(usize::from(count));
    for i in 0..count {
        let mut measure = Measure::full(format!("i{}", i + 1), Time::ZERO, meter);
        if i + 1 == count && pickup.is_positive() && pickup < measure.duration {
            measure.duration -= pickup;
        }
        form.offset += measure.duration;
        intro.push(measure);
    }
    if let Some(last) = intro.last_mut() {
        last.double_bar = true;
    }
    intro.append(&mut form.measures);
    form.measures = intro;
    let ostinato = match count {
        1 => "the ostinato comes in with the song".to_owned(),
        _ => format!("the ostinato joins in its measure {}", form.alone + 1),
    };
    let after = if form.closing { ", and as many after it" } else { "" };
    form.remarks.push(format!(
        "Before the song {} of drone{after}; {ostinato}.",
        if count == 1 { "one measure".to_owned() } else { format!("{count} measures") }
    ));
}

fn add_ending(form: &mut Form, count: u8) {
    let Some(last) = form.measures.last() else { return };
    let meter = last.meter;
    // A last measure that is short by the pickup is filled up first, so that the beat goes on.
    let gap = meter.measure() - last.lead - last.duration;
    let mut added = closing_measures(meter, gap, count);
    form.measures.append(&mut added);
    form.closing = true;
}

/// Measures after the song, its last one filled up first where it is short.
fn closing_measures(meter: Meter, gap: Time, count: u8) -> Vec<Measure> {
    let mut added = Vec::new();
    if gap.is_positive() {
        let mut fill = Measure::full("e0", Time::ZERO, meter);
        fill.lead = meter.measure() - gap;
        fill.duration = gap;
        fill.implicit = true;
        added.push(fill);
    }
    for i in 0..count {
        added.push(Measure::full(format!("e{}", i + 1), Time::ZERO, meter));
    }
    added
}

fn add_interlude(form: &mut Form, line: &Line, count: u8, has_jumps: bool, has_repeats: bool) {
    if has_jumps {
        form.remarks.push(
            "The song jumps back by itself (da capo, dal segno), so no interlude is added."
                .to_owned(),
        );
        return;
    }
    let verses = line.notes.iter().flat_map(|n| &n.lyrics).map(|l| l.verse).max().unwrap_or(1);
    let Some(last) = form.measures.last_mut() else { return };
    let meter = last.meter;
    let gap = meter.measure() - last.lead - last.duration;
    if has_repeats {
        last.jumps.push(Jump::Fine);
        last.double_bar = true;
    }
    let mut added = Vec::new();
    for i in 0..count {
        added.push(Measure::full(format!("z{}", i + 1), Time::ZERO, meter));
    }
    if gap.is_positive() {
        // The last measure of the song is short by its pickup: it is filled up first, and the pickup
        // of the next time through completes the interlude's last measure.
        let mut fill = Measure::full("z0", Time::ZERO, meter);
        fill.lead = meter.measure() - gap;
        fill.duration = gap;
        fill.implicit = true;
        added.insert(0, fill);
        if let Some(end) = added.last_mut() {
            end.duration -= gap;
        }
    }
    let times = verses.max(2);
    if has_repeats {
        if let Some(first) = form.measures.first_mut() {
            first.jumps.push(Jump::Segno);
        }
        if let Some(end) = added.last_mut() {
            end.jumps.push(Jump::DalSegno);
        }
        form.remarks.push(
            "After the interlude the song is played once more without its repeats, to the fine."
                .to_owned(),
        );
    } else {
        if let Some(first) = form.measures.first_mut() {
            first.repeat_start = true;
        }
        if let Some(start) = added.first_mut() {
            start.ending_start = (1..times).collect();
        }
        if let Some(end) = added.last_mut() {
            end.ending_stop = Some(EndingStop::Hooked);
            end.repeat_end = Some(times);
        }
        let mut closing = closing_measures(meter, gap, 1);
        if let Some(start) = closing.first_mut() {
            start.ending_start = vec![times];
        }
        if let Some(end) = closing.last_mut() {
            end.ending_stop = Some(EndingStop::Open);
        }
        added.append(&mut closing);
        form.remarks.push(format!(
            "The song is played {times} times, with the interlude between; the last time leaves it out."
        ));
    }
    form.measures.append(&mut added);
    form.closing = true;
}
