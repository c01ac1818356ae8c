//! The verifier: what makes an image safe to run.
//!
//! It accepts all that the compiler emits, and nothing that could make the
//! interpreter leave its bounds: every operand in range, every branch to the
//! start of an instruction of the same function, one operand-stack depth an
//! instruction whichever way control came, within the depth the record states. A
//! composite is held to the same, operation by operation; nothing leads into its middle,
//! as nothing leads into the middle of any instruction. So is an echo, by what is right
//! where it stands: where the instructions lie that it carries out does not count.
//! Where the second table of a set counts, which hangs on the instruction before, nothing
//! leads to, and no guarded code begins or ends.
//! It refuses to guess types: the interpreter checks those as it runs.
//!
//! One linear scan a function, in scratch memory that the caller gives.

use core::fmt;

use crate::encoding::echo::EchoFault;
use crate::encoding::{CODE_PADDING, Fetched, Instruction};
use crate::image::{CAPTURE_FREE, Constant, FREE_GLOBAL, Function, Image, ImageError, Position};
use crate::operand::{ConstId, FieldId, FreeId, FunctionId, GlobalId, OperandKind};
use crate::ops::{Flow, Op};
use crate::sets::{InstructionSet, SHIPPED_SETS, Table};

/// Why an image is not safe to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VerifyError {
    kind: Kind,
    offset: usize,
    position: Option<Position>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Image(ImageError),
    Scratch,
    Constant,
    NotANumber,
    Global,
    Record,
    Lists,
    Padding,
    Guard,
    NoInstruction,
    Echo(EchoFault),
    Trap,
    Operand(Op),
    Underflow(Op),
    Overflow(Op),
    Depth(Op),
    Target(Op),
    Behind(Op),
    Midway,
    FallsOut,
}

impl VerifyError {
    /// The byte at which the image is wrong, counted in the code section for a
    /// wrong instruction and in the image for a wrong header.
    pub fn offset(&self) -> usize {
        self.offset
    }

    /// The source position of the wrong instruction, if there is a line table.
    pub fn position(&self) -> Option<Position> {
        self.position
    }

    /// Whether the scratch memory was too small: the image may be right.
    pub fn is_scratch(&self) -> bool {
        self.kind == Kind::Scratch
    }

    /// Whether the image was made for another build, and is whole.
    pub fn is_mismatch(&self) -> bool {
        matches!(self.kind, Kind::Image(error) if error.is_mismatch())
    }
}

impl From<ImageError> for VerifyError {
    fn from(error: ImageError) -> Self {
        VerifyError { kind: Kind::Image(error), offset: error.offset(), position: None }
    }
}

impl fmt::Display for VerifyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at = self.offset;
        match self.kind {
            Kind::Image(error) => error.fmt(f),
            Kind::Scratch => write!(f, "not enough memory to verify the image"),
            Kind::Constant => write!(f, "constant {at} does not lie in the image"),
            Kind::NotANumber => write!(f, "constant {at} is a NaN that no number is written as"),
            Kind::Global => write!(f, "global {at} has no kind or no name"),
            Kind::Record => write!(f, "function {at}: the record is out of range"),
            Kind::Lists => write!(f, "function {at}: the lists do not lie in the image"),
            Kind::Padding => write!(f, "the padding behind the code is not zero"),
            Kind::Guard => write!(f, "function {at}: a guard is out of range"),
            Kind::NoInstruction => write!(f, "code offset {at}: no instruction"),
            Kind::Echo(fault) => write!(f, "code offset {at}: an echo {fault}"),
            Kind::Trap => write!(f, "code offset {at}: an instruction that refuses to run"),
            Kind::Operand(op) => {
                write!(f, "code offset {at}: {}: operand out of range", op.text().mnemonic)
            }
            Kind::Underflow(op) => {
                write!(f, "code offset {at}: {}: too few values on the stack", op.text().mnemonic)
            }
            Kind::Overflow(op) => {
                write!(f, "code offset {at}: {}: deeper than the record says", op.text().mnemonic)
            }
            Kind::Depth(op) => {
                write!(f, "code offset {at}: {}: the stack's depth is wrong", op.text().mnemonic)
            }
            Kind::Target(op) => {
                write!(f, "code offset {at}: {}: the label is no instruction", op.text().mnemonic)
            }
            Kind::Behind(op) => write!(
                f,
                "code offset {at}: {}: the label is where the second table of the set counts",
                op.text().mnemonic
            ),
            Kind::Midway => write!(
                f,
                "code offset {at}: control can come from elsewhere where the second table of the \
                 set counts"
            ),
            Kind::FallsOut => write!(f, "code offset {at}: control falls out of the function"),
        }
    }
}

impl core::error::Error for VerifyError {}

/// Scratch memory: one 16-bit number a code byte of the longest function.
pub trait Scratch {
    /// How many numbers fit.
    fn capacity(&self) -> usize;
    /// Reads a number below the capacity.
    fn get(&self, index: usize) -> u16;
    /// Writes a number below the capacity.
    fn set(&mut self, index: usize, value: u16);
}

impl Scratch for [u16] {
    fn capacity(&self) -> usize {
        self.len()
    }

    fn get(&self, index: usize) -> u16 {
        self[index]
    }

    fn set(&mut self, index: usize, value: u16) {
        self[index] = value;
    }
}

/// Opens an image and verifies it. Of instruction sets it knows the shipped one.
pub fn verify<'a, S: Scratch + ?Sized>(
    bytes: &'a [u8],
    scratch: &mut S,
) -> Result<Image<'a>, VerifyError> {
    verify_with(bytes, SHIPPED_SETS, scratch)
}

/// The same with these instruction sets.
pub fn verify_with<'a, S: Scratch + ?Sized>(
    bytes: &'a [u8],
    sets: &'a [&'a InstructionSet<'a>],
    scratch: &mut S,
) -> Result<Image<'a>, VerifyError> {
    let image = Image::open_with(bytes, sets)?;
    let fail = |kind, offset| Err(VerifyError { kind, offset, position: None });
    for index in 0..image.n_constants() {
        match ConstId::new(index).and_then(|id| image.constant(id)) {
            None => return fail(Kind::Constant, index),
            // Layouts put references where other NaNs would be: such a constant
            // would be a value made up.
            Some(Constant::Number(number))
                if number.is_nan() && number.to_bits() != f64::NAN.to_bits() =>
            {
                return fail(Kind::NotANumber, index);
            }
            Some(_) => {}
        }
    }
    for index in 0..image.n_globals() {
        let named = GlobalId::new(index)
            .and_then(|id| image.global(id))
            .is_some_and(|(_, name)| is_field(&image, name.index()));
        if !named {
            return fail(Kind::Global, index);
        }
    }
    if image.code()[image.code().len() - CODE_PADDING..].iter().any(|&byte| byte != 0) {
        return fail(Kind::Padding, image.code().len());
    }
    let mut looks = Looks::at(&image);
    for index in 0..image.n_functions() {
        let Some(id) = FunctionId::new(index) else { return fail(Kind::Record, index) };
        let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
            return fail(Kind::Record, index);
        };
        let limit = image.code().len() - CODE_PADDING;
        if function.code >= end
            || end as usize > limit
            || u16::from(function.n_params) > function.n_slots
            || function.depth >= DEPTH_LIMIT
            || (index == 0 && function.code != 0)
        {
            return fail(Kind::Record, index);
        }
        verify_lists(&image, index, &function, &mut looks)?;
        if scratch.capacity() < (end - function.code) as usize {
            return fail(Kind::Scratch, index);
        }
        let looks = &mut looks;
        let mut scan = Scan { image: &image, function, end: end as usize, scratch, looks };
        scan.run(index)
            .map_err(|error| VerifyError { position: image.position(error.offset), ..error })?;
    }
    Ok(image)
}

fn is_field(image: &Image<'_>, index: usize) -> bool {
    let constant = ConstId::new(index).and_then(|id| image.constant(id));
    matches!(constant, Some(Constant::Text(_) | Constant::Name(_)))
}

/// How many entries of lists may still be looked at, so that the time it takes is that of the
/// image's bytes: lists that many functions had in common, or a closure made at every other
/// byte, took a megabyte half a minute.
struct Looks {
    /// Of the functions' own lists: each has bytes of its own.
    own: usize,
    /// Of the lists of functions that closures are made of, wherever one is made.
    made: usize,
}

impl Looks {
    fn at(image: &Image<'_>) -> Looks {
        let bytes = image.sizes().functions;
        Looks { own: bytes, made: 64 * bytes + 4096 }
    }

    /// Takes entries of that many bytes.
    fn take(left: &mut usize, bytes: usize) -> bool {
        match left.checked_sub(bytes) {
            Some(rest) => {
                *left = rest;
                true
            }
            None => false,
        }
    }
}

/// The free variables and captures of one function against the image. Whether a
/// parent has the captured slot is checked where the parent makes the closure. The script
/// has no parent, and nothing to capture.
fn verify_lists(
    image: &Image<'_>,
    index: usize,
    function: &Function<'_>,
    looks: &mut Looks,
) -> Result<(), VerifyError> {
    let fail = Err(VerifyError { kind: Kind::Lists, offset: index, position: None });
    if !Looks::take(&mut looks.own, 2 * function.n_free as usize) {
        return fail;
    }
    let mut n_captures = 0;
    for free in 0..function.n_free as usize {
        let Some(entry) = FreeId::new(free).and_then(|id| function.free(id)) else { return fail };
        if entry & FREE_GLOBAL != 0 {
            if (entry & !FREE_GLOBAL) as usize >= image.n_globals() {
                return fail;
            }
        } else if entry as usize == n_captures {
            n_captures += 1;
        } else {
            return fail;
        }
    }
    let is_script = index + 1 == image.n_functions();
    if n_captures > 0 && (is_script || function.capture_source(n_captures - 1).is_none()) {
        return fail;
    }
    let Some(details) = function.details() else { return fail };
    if details.name.is_some_and(|name| !is_field(image, name.index()))
        || !Looks::take(&mut looks.own, 3 * details.n_guards as usize)
        || details.guards().count() != details.n_guards as usize
    {
        return fail;
    }
    Ok(())
}

fn is_return(op: Op) -> bool {
    matches!(op, Op::Return | Op::ReturnUndefined)
}

/// Depths are stored plus one in 15 bits; 0 stands for no instruction.
const DEPTH_LIMIT: u16 = 0x7ffe;
/// Marks a depth that a branch expects where no instruction was seen yet.
const EXPECTED: u16 = 0x8000;
/// Marks an instruction that was read where the second table counts: no depth, since
/// nothing may lead there.
const MIDWAY: u16 = EXPECTED;

struct Scan<'s, 'a, S: ?Sized> {
    image: &'s Image<'a>,
    function: Function<'a>,
    end: usize,
    scratch: &'s mut S,
    looks: &'s mut Looks,
}

impl<S: Scratch + ?Sized> Scan<'_, '_, S> {
    fn run(&mut self, index: usize) -> Result<(), VerifyError> {
        let start = self.function.code as usize;
        let length = self.end - start;
        for at in 0..length {
            self.scratch.set(at, 0);
        }
        self.expect_guards(index, length)?;
        let mut at = start;
        // After a jump, code that no earlier branch leads to is a loop's body or
        // dead: both begin a statement, at depth 0.
        let (mut depth, mut table) = (Some(0u16), Table::First);
        while at < self.end {
            let instruction = self.fetch(at, table)?;
            let mark = self.scratch.get(at - start);
            let here = match (depth, mark & !EXPECTED) {
                (Some(depth), 0) => depth,
                (Some(depth), mark) if depth + 1 == mark => depth,
                (None, 0) => 0,
                (None, mark) => mark - 1,
                _ => return Err(self.error(Kind::Depth(instruction.first().op), at)),
            };
            if table == Table::Then {
                if mark != 0 {
                    return Err(self.error(Kind::Midway, at));
                }
                self.scratch.set(at - start, MIDWAY);
            } else {
                self.scratch.set(at - start, here + 1);
            }
            depth = Some(here);
            for fetched in instruction.parts() {
                // A set lets what goes elsewhere stand last only.
                let Some(here) = depth else { return Err(self.error(Kind::NoInstruction, at)) };
                depth = self.step(at, fetched, here)?;
            }
            (at, table) = (instruction.next, self.image.table_behind(&instruction));
        }
        if depth.is_some() {
            return Err(self.error(Kind::FallsOut, self.end));
        }
        for at in 0..length {
            let mark = self.scratch.get(at);
            if mark & EXPECTED != 0 && mark != MIDWAY {
                return Err(self.error(Kind::Target(Op::Branch), start + at));
            }
        }
        self.check_guards(index)
    }

    fn expect_guards(&mut self, index: usize, length: usize) -> Result<(), VerifyError> {
        let guards = self.function.details().into_iter().flat_map(|details| details.guards());
        for guard in guards {
            let inside = guard.start < guard.end
                && guard.end as usize <= length
                && (guard.target as usize) < length;
            if !inside || self.function.depth < 1 {
                return Err(self.error(Kind::Guard, index));
            }
            self.scratch.set(guard.target as usize, 2 | EXPECTED);
        }
        Ok(())
    }

    /// Once every instruction is marked: ranges begin and end at instructions.
    fn check_guards(&mut self, index: usize) -> Result<(), VerifyError> {
        let guards = self.function.details().into_iter().flat_map(|details| details.guards());
        for guard in guards {
            let (start, end) = (guard.start as usize, guard.end as usize);
            let code = self.function.code as usize;
            let ends = code + end == self.end || self.scratch.get(end) != 0;
            if self.scratch.get(start) == 0 || !ends {
                return Err(self.error(Kind::Guard, index));
            }
            for border in [start, end] {
                if code + border < self.end && self.scratch.get(border) == MIDWAY {
                    return Err(self.error(Kind::Midway, code + border));
                }
            }
        }
        Ok(())
    }

    fn fetch(&self, at: usize, table: Table) -> Result<Instruction, VerifyError> {
        match self.image.decode_before(at, self.end, table) {
            Some(found) if found.last().op == Op::Trap => Err(self.error(Kind::Trap, at)),
            Some(found) => Ok(found),
            None => {
                let fault = self.image.echo_fault(at, self.end);
                Err(self.error(fault.map_or(Kind::NoInstruction, Kind::Echo), at))
            }
        }
    }

    /// The depth behind one operation, or nothing where control does not go on.
    fn step(&mut self, at: usize, fetched: Fetched, here: u16) -> Result<Option<u16>, VerifyError> {
        let Fetched { op, operand, next } = fetched;
        let info = op.info();
        if !self.operand_in_range(op, operand) {
            return Err(self.error(Kind::Operand(op), at));
        }
        let taken = info.effect.taken(operand);
        let Some(left) = u32::from(here).checked_sub(taken) else {
            return Err(self.error(Kind::Underflow(op), at));
        };
        let after = left + u32::from(info.effect.pushes);
        if after > u32::from(self.function.depth) {
            return Err(self.error(Kind::Overflow(op), at));
        }
        match info.flow {
            Flow::Next => Ok(Some(after as u16)),
            // A return finds its frame's links just above what it takes.
            Flow::Stop if is_return(op) && left != 0 => Err(self.error(Kind::Depth(op), at)),
            Flow::Stop => Ok(None),
            Flow::Jump => {
                self.label(at, op, next, operand, after)?;
                Ok(None)
            }
            Flow::Branch(pushes) => {
                let there = left + u32::from(pushes);
                if there > u32::from(self.function.depth) {
                    return Err(self.error(Kind::Overflow(op), at));
                }
                self.label(at, op, next, operand, there)?;
                Ok(Some(after as u16))
            }
        }
    }

    fn label(
        &mut self,
        at: usize,
        op: Op,
        next: usize,
        displacement: i32,
        depth: u32,
    ) -> Result<(), VerifyError> {
        let start = self.function.code as usize;
        let target = next as i64 + i64::from(displacement);
        if target < start as i64 || target >= self.end as i64 {
            return Err(self.error(Kind::Target(op), at));
        }
        let index = target as usize - start;
        let wanted = depth as u16 + 1;
        let mark = self.scratch.get(index);
        match mark & !EXPECTED {
            0 if mark == MIDWAY => Err(self.error(Kind::Behind(op), at)),
            0 if (target as usize) < next => Err(self.error(Kind::Target(op), at)),
            0 => {
                self.scratch.set(index, wanted | EXPECTED);
                Ok(())
            }
            mark if mark == wanted => Ok(()),
            _ => Err(self.error(Kind::Depth(op), at)),
        }
    }

    fn operand_in_range(&mut self, op: Op, operand: i32) -> bool {
        let index = operand as usize;
        match op.info().operand {
            OperandKind::None | OperandKind::Int | OperandKind::Displacement => true,
            // Counts that pop are bounded by the depth; `make_object` only
            // reserves, and the heap limit bounds that.
            OperandKind::Count | OperandKind::Argc => true,
            OperandKind::Slot => index < self.function.n_slots as usize,
            OperandKind::FreeId => index < self.function.n_free as usize,
            OperandKind::GlobalId => index < self.image.n_globals(),
            OperandKind::ConstId => index < self.image.n_constants(),
            OperandKind::FieldId => is_field(self.image, FieldId::from_operand(operand).index()),
            OperandKind::FunctionId => self.closure_in_range(index),
        }
    }

    /// A closure's captures lie in this function, which makes it.
    fn closure_in_range(&mut self, index: usize) -> bool {
        let Some(inner) = FunctionId::new(index).and_then(|id| self.image.function(id)) else {
            return false;
        };
        if index + 1 >= self.image.n_functions()
            || !Looks::take(&mut self.looks.made, inner.n_free as usize)
        {
            return false;
        }
        (0..inner.n_captures()).all(|capture| match inner.capture_source(capture) {
            Some(source) if source & CAPTURE_FREE != 0 => {
                let free = FreeId::new((source & !CAPTURE_FREE) as usize);
                let in_range = free.is_some_and(|id| id.index() < self.function.n_free as usize);
                let entry = free.and_then(|id| self.function.free(id));
                in_range && entry.is_some_and(|entry| entry & FREE_GLOBAL == 0)
            }
            Some(slot) => slot < self.function.n_slots,
            None => false,
        })
    }

    fn error(&self, kind: Kind, offset: usize) -> VerifyError {
        VerifyError { kind, offset, position: None }
    }
}
