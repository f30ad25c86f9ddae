//! Where a mutant can be chosen at run time: the expression around it that must be written twice.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};

/// How the choice is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Way {
    /// A function that returns at once.
    Return,
    /// A match guard that is true, or false.
    Guard,
    /// An arm of a match that is never taken.
    Arm,
    /// An expression, once more with the change in it.
    Expression,
}

/// A place that several mutants may share, in bytes of the file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// First byte.
    pub from: usize,
    /// End; where something is only put in, `from` again.
    pub to: usize,
    /// How the choice is written.
    pub way: Way,
}

/// What one file's syntax tree says.
#[derive(Default)]
pub struct Places {
    /// Expressions with an operator, by the bytes of the operator.
    operators: BTreeMap<(usize, usize), Range<usize>>,
    /// What a mutant of an operator may bind otherwise: an operand to the operation around it.
    around: BTreeMap<(usize, usize), Range<usize>>,
    /// Structures written out, by each of their fields.
    fields: BTreeMap<usize, Range<usize>>,
    /// Of each arm, by its first byte: the end of the pattern, or the guard.
    arms: BTreeMap<usize, Range<usize>>,
    /// Where no choice can be made at run time.
    constant: Vec<Range<usize>>,
    /// First statements of functions that answer `impl Trait`: one type, whatever is chosen.
    opaque: BTreeSet<usize>,
    /// `&&` between conditions of which one is a `let`.
    lets: BTreeSet<(usize, usize)>,
}

impl Places {
    /// Of a file.
    pub fn new(source: &str) -> Places {
        let mut places = Places::default();
        places.visit_file(&syn::parse_file(source).expect("a file that compiles"));
        places
    }

    /// The place of a mutant; `None` where it cannot be chosen at run time.
    pub fn of(&self, genre: &str, from: usize, to: usize) -> Option<Place> {
        if self.constant.iter().any(|c| c.start <= from && to <= c.end) {
            return None;
        }
        let expression = |r: Range<usize>| Place { from: r.start, to: r.end, way: Way::Expression };
        match genre {
            "FnValue" if self.opaque.contains(&from) => None,
            "FnValue" => Some(Place { from, to: from, way: Way::Return }),
            "MatchArmGuard" => Some(Place { from, to, way: Way::Guard }),
            "MatchArm" => {
                let guard = self.arms.get(&from)?;
                Some(Place { from: guard.start, to: guard.end, way: Way::Arm })
            }
            "StructField" => self.fields.get(&from).cloned().map(expression),
            "UnaryOperator" => self.operators.get(&(from, to)).cloned().map(expression),
            "BinaryOperator" => {
                let mut place = self.operators.get(&(from, to))?;
                if self.lets.contains(&(from, to)) {
                    return None;
                }
                // `a - b * c` with `+` for `*` is `(a - b) + c`.
                while let Some(larger) = self.around.get(&(place.start, place.end)) {
                    place = larger;
                }
                Some(expression(place.clone()))
            }
            _ => None,
        }
    }
}

impl Places {
    fn function(&mut self, signature: &syn::Signature, block: &syn::Block, all: Range<usize>) {
        if signature.constness.is_some() {
            self.constant.push(all);
        }
        let opaque = |t: &syn::Type| matches!(t, syn::Type::ImplTrait(_));
        if let syn::ReturnType::Type(_, answer) = &signature.output
            && opaque(answer)
        {
            self.opaque.extend(block.stmts.first().map(|first| bytes(first).start));
        }
    }

    fn no_or_beside_let(&mut self, node: &syn::ExprBinary) {
        let op = bytes(&node.op);
        self.lets.insert((op.start, op.end));
        for operand in [&*node.left, &*node.right] {
            if let syn::Expr::Binary(b) = operand
                && matches!(b.op, syn::BinOp::And(_))
            {
                self.no_or_beside_let(b);
            }
        }
    }
}

fn bytes(of: &impl Spanned) -> Range<usize> {
    of.span().byte_range()
}

fn has_let(of: &syn::Expr) -> bool {
    match of {
        syn::Expr::Let(_) => true,
        syn::Expr::Binary(b) => has_let(&b.left) || has_let(&b.right),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Places {
    fn visit_expr_binary(&mut self, node: &'ast syn::ExprBinary) {
        let (all, op) = (bytes(node), bytes(&node.op));
        if has_let(&node.left) || has_let(&node.right) {
            self.no_or_beside_let(node);
        } else {
            for operand in [bytes(&node.left), bytes(&node.right)] {
                self.around.insert((operand.start, operand.end), all.clone());
            }
        }
        self.operators.insert((op.start, op.end), all);
        visit::visit_expr_binary(self, node);
    }

    fn visit_expr_unary(&mut self, node: &'ast syn::ExprUnary) {
        let op = bytes(&node.op);
        self.operators.insert((op.start, op.end), bytes(node));
        visit::visit_expr_unary(self, node);
    }

    fn visit_expr_struct(&mut self, node: &'ast syn::ExprStruct) {
        for field in &node.fields {
            self.fields.insert(bytes(field).start, bytes(node));
        }
        visit::visit_expr_struct(self, node);
    }

    fn visit_arm(&mut self, node: &'ast syn::Arm) {
        let end = bytes(&node.pat).end;
        let guard = node.guard.as_ref().map_or(end..end, |(_, guard)| bytes(guard));
        self.arms.insert(bytes(node).start, guard);
        visit::visit_arm(self, node);
    }

    fn visit_item_const(&mut self, node: &'ast syn::ItemConst) {
        self.constant.push(bytes(node));
    }

    fn visit_impl_item_const(&mut self, node: &'ast syn::ImplItemConst) {
        self.constant.push(bytes(node));
    }

    fn visit_item_static(&mut self, node: &'ast syn::ItemStatic) {
        self.constant.push(bytes(node));
    }

    fn visit_type_array(&mut self, node: &'ast syn::TypeArray) {
        self.constant.push(bytes(node));
    }

    fn visit_item_fn(&mut self, node: &'ast syn::ItemFn) {
        self.function(&node.sig, &node.block, bytes(node));
        visit::visit_item_fn(self, node);
    }

    fn visit_impl_item_fn(&mut self, node: &'ast syn::ImplItemFn) {
        self.function(&node.sig, &node.block, bytes(node));
        visit::visit_impl_item_fn(self, node);
    }
}
