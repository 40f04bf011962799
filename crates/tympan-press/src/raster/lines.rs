//! Packing the lines of a page (PWG 5102.4, 4.3).

/// Packs lines: how often a line is repeated, then runs of equal and of unequal dots.
#[derive(Debug)]
pub(super) struct Packer {
    /// Bytes that are packed together: those of a dot, or of eight dots of one bit.
    unit: usize,
    line: Vec<u8>,
    repeats: u8,
    is_begun: bool,
}

/// The most dots in a run, equal or unequal.
const LONGEST_RUN: usize = 128;

impl Packer {
    pub(super) fn new(unit: usize) -> Self {
        Self {
            unit,
            line: Vec::new(),
            repeats: 0,
            is_begun: false,
        }
    }

    /// Takes the next line; what is complete goes to `out`.
    pub(super) fn line(&mut self, line: &[u8], out: &mut Vec<u8>) {
        if self.is_begun && self.repeats < u8::MAX && self.line == line {
            self.repeats += 1;
            return;
        }
        self.finish(out);
        self.line.clear();
        self.line.extend_from_slice(line);
        self.is_begun = true;
    }

    /// Writes what is left at the end of a page.
    pub(super) fn finish(&mut self, out: &mut Vec<u8>) {
        if !self.is_begun {
            return;
        }
        out.push(self.repeats);
        pack(&self.line, self.unit, out);
        self.is_begun = false;
        self.repeats = 0;
    }
}

fn pack(line: &[u8], unit: usize, out: &mut Vec<u8>) {
    let count = line.len() / unit;
    let dot = |at: usize| &line[at * unit..(at + 1) * unit];
    let mut at = 0;
    while at < count {
        let most = (count - at).min(LONGEST_RUN);
        let equal = 1 + (1..most).take_while(|i| dot(at + i) == dot(at)).count();
        if equal > 1 || most == 1 {
            out.push((equal - 1) as u8);
            out.extend_from_slice(dot(at));
            at += equal;
            continue;
        }
        // Unequal dots, up to where two equal ones begin.
        let unequal = (1..most)
            .take_while(|i| at + i + 1 >= count || dot(at + i) != dot(at + i + 1))
            .count();
        let unequal = (unequal + 1).min(most);
        if unequal == 1 {
            out.push(0);
        } else {
            // 257 − n: a count below zero as a byte.
            out.push((257 - unequal) as u8);
        }
        out.extend_from_slice(&line[at * unit..(at + unequal) * unit]);
        at += unequal;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Unpacks as the standard says, written apart from the packing.
    fn unpack(mut packed: &[u8], unit: usize, width: usize) -> Vec<Vec<u8>> {
        let mut lines = Vec::new();
        while let Some((repeats, rest)) = packed.split_first() {
            packed = rest;
            let mut line = Vec::new();
            while line.len() < width * unit {
                let count = usize::from(packed[0]);
                packed = &packed[1..];
                if count < 128 {
                    for _ in 0..=count {
                        line.extend_from_slice(&packed[..unit]);
                    }
                    packed = &packed[unit..];
                } else {
                    let bytes = (257 - count) * unit;
                    line.extend_from_slice(&packed[..bytes]);
                    packed = &packed[bytes..];
                }
            }
            assert_eq!(line.len(), width * unit, "a run passes the line's end");
            for _ in 0..=*repeats {
                lines.push(line.clone());
            }
        }
        lines
    }

    fn packed(lines: &[Vec<u8>], unit: usize) -> Vec<u8> {
        let mut packer = Packer::new(unit);
        let mut out = Vec::new();
        for line in lines {
            packer.line(line, &mut out);
        }
        packer.finish(&mut out);
        out
    }

    #[test]
    fn a_white_page_packs_to_almost_nothing() {
        let lines = vec![vec![255; 3 * 4960]; 7015];
        let packed = packed(&lines, 3);
        // 28 times up to 256 equal lines of 39 runs.
        assert_eq!(packed.len(), 28 * (1 + 4 * 39));
        assert!(unpack(&packed, 3, 4960) == lines);
    }

    #[test]
    fn runs_are_written_as_the_standard_says() {
        let line = vec![vec![7, 7, 7, 1, 2, 3, 3]];
        assert_eq!(packed(&line, 1), [0, 2, 7, 255, 1, 2, 1, 3]);
        assert_eq!(packed(&[vec![9]], 1), [0, 0, 9]);
        assert_eq!(packed(&[vec![1, 2]], 1), [0, 255, 1, 2]);
    }

    proptest! {
        #[test]
        fn what_is_packed_unpacks_to_the_same(
            unit in 1_usize..4,
            width in 1_usize..300,
            seed in proptest::collection::vec((0_u8..3, 1_usize..200), 1..40),
            rows in 1_usize..6,
        ) {
            let dots: Vec<u8> = seed
                .iter()
                .flat_map(|(value, count)| std::iter::repeat_n(*value, *count))
                .cycle()
                .take(unit * width * rows)
                .collect();
            let lines: Vec<Vec<u8>> = dots.chunks(unit * width).map(<[u8]>::to_vec).collect();
            let packed = packed(&lines, unit);
            prop_assert_eq!(unpack(&packed, unit, width), lines);
        }
    }
}
