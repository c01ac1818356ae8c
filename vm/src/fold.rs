//! Calls in tail position: frames that have nothing left to do are let go of.
//!
//! ECMA-262 has a call in tail position reuse its caller's frame (PrepareForTailCall),
//! so that a chain of such calls may be as long as it likes. Here a call makes its
//! frame as any other, and only where the stack has no room left are the frames that
//! stand before a `return` taken out of it, all at one go. Nothing is paid for it
//! before, in bytes, in instructions or in the loop; where a script throws with room to
//! spare, every frame is still there to be told of.
//!
//! It is an option of the machine, [`crate::Options::tail_calls`], and off by default:
//! who recurses by mistake wants the error, and not a script that never ends.
//!
//! It refuses frames below a native's or the host's call, whose places are held by
//! Rust, and does nothing while iterators are open, which hold places as well.

use crate::Host;
use crate::call::{CLOSES, CONSTRUCTS, ENTRY, IMAGE_SHIFT, PLACE_BITS};
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::Op;
use scruple_bytecode::image::record;

/// The most branches between a call and the `return` that its value goes to: those of
/// conditional expressions around it.
const MOST_BRANCHES: usize = 8;

/// What a frame goes back to.
#[derive(Clone, Copy)]
struct Link {
    place: i32,
    caller: i32,
}

impl<L: Layout, H: Host> Vm<'_, L, H> {
    /// Takes the frames that have nothing left to do out of the stack. The running one
    /// stays, and moves with its operands by the slots that are told, 0 where there is
    /// no such frame.
    pub(crate) fn fold_frames(&mut self) -> usize {
        if !self.tail_calls || !self.heap.roots.open.is_none() || !self.may_fold() {
            return 0;
        }
        let (oldest, outer) = self.turn_links(self.fp);
        self.fold_from(oldest, outer)
    }

    /// Whether a frame above the newest one that Rust holds has nothing left to do.
    fn may_fold(&self) -> bool {
        let (mut fp, mut found) = (self.fp, false);
        loop {
            let Some(link) = self.link_of(fp) else { return false };
            if link.place & ENTRY != 0 {
                return found;
            }
            fp = link.caller as usize;
            found = found || self.is_done(fp, link.place);
        }
    }

    /// Where the links of a frame lie.
    fn link_place(&self, fp: usize) -> Option<usize> {
        let closure = self.as_closure(self.heap.mem_value(fp + 2))?;
        let function = self.closure_function(closure)?;
        let keeps = usize::from(function.has(record::FLAG_ARGUMENTS));
        (fp - keeps).checked_sub(function.n_slots as usize + 1)
    }

    fn link_of(&self, fp: usize) -> Option<Link> {
        let at = self.link_place(fp)?;
        let read = |at| self.heap.mem_value(at).as_int();
        Some(Link { place: read(at + 1)?, caller: read(at)? })
    }

    fn set_frame_link(&mut self, fp: usize, link: Link) {
        let Some(at) = self.link_place(fp) else { return };
        self.heap.set_mem_value(at + 1, Value::small(link.place));
        self.heap.set_mem_value(at, Value::small(link.caller));
    }

    /// Whether the frame does nothing but return what the call gives that comes back to
    /// `place`: no constructor, which looks at the value, and nothing guarded, which
    /// has a handler for it.
    fn is_done(&self, fp: usize, place: i32) -> bool {
        let of_interest = CONSTRUCTS | ENTRY | CLOSES;
        match self.link_of(fp) {
            Some(link) if link.place & of_interest == 0 => self.returns_at(fp, place) == Some(true),
            _ => false,
        }
    }

    fn returns_at(&self, fp: usize, place: i32) -> Option<bool> {
        let closure = self.as_closure(self.heap.mem_value(fp + 2))?;
        let function = self.closure_function(closure)?;
        let image = self.image((place >> IMAGE_SHIFT) as usize)?;
        let mut pc = (place & ((1 << PLACE_BITS) - 1)) as usize;
        let inside = (pc - 1).wrapping_sub(function.code as usize) as u32;
        if function.details()?.guards().any(|g| g.start <= inside && inside < g.end) {
            return Some(false);
        }
        for _ in 0..MOST_BRANCHES {
            let Some(fetched) = image.decode(pc)?.single() else { return Some(false) };
            match fetched.op {
                Op::Return => return Some(true),
                Op::Branch => pc = fetched.next.wrapping_add_signed(fetched.operand as isize),
                _ => return Some(false),
            }
        }
        Some(false)
    }

    /// Turns the links around, from the running frame to the newest one that Rust
    /// holds: each tells the frame that it called, the running one tells 0. Gives that
    /// frame, and the caller it had.
    fn turn_links(&mut self, running: usize) -> (usize, i32) {
        let (mut fp, mut callee) = (running, 0);
        while let Some(link) = self.link_of(fp) {
            self.set_frame_link(fp, Link { caller: callee as i32, ..link });
            if link.place & ENTRY != 0 {
                return (fp, link.caller);
            }
            (callee, fp) = (fp, link.caller as usize);
        }
        (fp, 0)
    }

    /// Goes back along the turned links, moves what stays and sets its links anew.
    fn fold_from(&mut self, oldest: usize, outer: i32) -> usize {
        let (mut fp, mut shift) = (oldest, 0);
        // What the frame at hand goes back to, if its caller has gone or moved.
        let mut back: Option<Link> = None;
        let mut caller = outer;
        while let Some(turned) = self.link_of(fp) {
            let callee = turned.caller as usize;
            let flags = turned.place & (CONSTRUCTS | ENTRY | CLOSES);
            let own = match back {
                Some(link) => Link { place: link.place | flags, ..link },
                None => Link { place: turned.place, caller },
            };
            self.set_frame_link(fp, own);
            let next = if callee == 0 { None } else { self.link_of(callee) };
            let lowest = if callee == 0 { self.heap.sp } else { callee + 3 };
            if let Some(next) = next
                && self.is_done(fp, next.place)
            {
                shift += fp - callee;
                back = Some(own);
            } else {
                self.heap.mem.copy_within(lowest..fp + 3, lowest + shift);
                (caller, back) = ((fp + shift) as i32, None);
            }
            if callee == 0 {
                break;
            }
            fp = callee;
        }
        shift
    }
}
