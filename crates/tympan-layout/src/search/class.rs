//! Pieces of one size may lie in each other's places.

use tympan_sheet::Shape;

use crate::job::Piece;

/// All pieces of one size and shape.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Class {
    pub(crate) shape: Shape,
    /// Whether they may be turned a quarter and that makes a difference.
    pub(crate) may_turn: bool,
    /// Which kinds of pieces these are.
    pub(crate) pieces: Vec<usize>,
    /// How many pieces are wanted in all.
    pub(crate) count: usize,
}

/// The sizes of a job in the order of their first piece. Pieces of which none is wanted are left
/// out.
pub(crate) fn classes(pieces: &[Piece]) -> Vec<Class> {
    let mut classes: Vec<Class> = Vec::new();
    for (i, piece) in pieces.iter().enumerate().filter(|(_, p)| p.copies > 0) {
        let may_turn = piece.may_turn && !piece.shape.is_same_turned();
        let same = |c: &&mut Class| c.shape == piece.shape && c.may_turn == may_turn;
        if let Some(class) = classes.iter_mut().find(same) {
            class.pieces.push(i);
            class.count += piece.copies;
        } else {
            classes.push(Class {
                shape: piece.shape,
                may_turn,
                pieces: vec![i],
                count: piece.copies,
            });
        }
    }
    classes
}
