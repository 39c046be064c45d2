package protocol

import (
	"fmt"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/types"
)

// A condition is a CEL expression restricted to comparisons of one fact with
// one constant, joined by and, or and not. The restriction is what makes the
// walk over cells complete: each constant cuts its fact into finitely many
// pieces, and within a piece nothing can change.
type condition struct {
	text string
	root *node
}

type nodeOp int

const (
	opAnd nodeOp = iota
	opOr
	opNot
	opCompare
)

type node struct {
	op          nodeOp
	left, right *node
	fact        int
	cmp         string // == != < <= > >=
	value       int64
	household   bool
}

// conditionError says what is wrong in a condition, and where in its text.
type conditionError struct {
	line, column int
	message      string
}

func (e conditionError) Error() string {
	return fmt.Sprintf("condition %d:%d: %s", e.line, e.column, e.message)
}

// newEnv declares a vocabulary's facts to CEL.
func newEnv(v *vocabulary) (*cel.Env, error) {
	opts := []cel.EnvOption{cel.ClearMacros()}
	for _, d := range v.defs {
		t := cel.BoolType
		switch d.kind {
		case number:
			t = cel.IntType
		case word:
			t = cel.StringType
		}
		opts = append(opts, cel.Variable(d.name, t))
	}
	return cel.NewEnv(opts...)
}

// compile checks the types of a condition and turns it into a tree.
func compile(env *cel.Env, v *vocabulary, text string) (*condition, error) {
	checked, iss := env.Compile(text)
	if iss != nil && iss.Err() != nil {
		e := iss.Errors()[0]
		return nil, conditionError{e.Location.Line(), e.Location.Column() + 1, e.Message}
	}
	if checked.OutputType() != cel.BoolType {
		return nil, conditionError{1, 1, fmt.Sprintf("gives %s, want true or false", checked.OutputType())}
	}
	c := compiler{v: v, info: checked.NativeRep().SourceInfo()}
	root, err := c.node(checked.NativeRep().Expr())
	if err != nil {
		return nil, err
	}
	return &condition{text: text, root: root}, nil
}

type compiler struct {
	v    *vocabulary
	info *ast.SourceInfo
}

func (c compiler) fail(e ast.Expr, format string, args ...any) error {
	at := c.info.GetStartLocation(e.ID())
	if at == common.NoLocation {
		at = common.NewLocation(1, 0)
	}
	return conditionError{at.Line(), at.Column() + 1, fmt.Sprintf(format, args...)}
}

var joins = map[string]nodeOp{"_&&_": opAnd, "_||_": opOr}

var compares = map[string]string{
	"_==_": "==", "_!=_": "!=", "_<_": "<", "_<=_": "<=", "_>_": ">", "_>=_": ">=",
}

var mirrored = map[string]string{"==": "==", "!=": "!=", "<": ">", "<=": ">=", ">": "<", ">=": "<="}

func (c compiler) node(e ast.Expr) (*node, error) {
	if e.Kind() == ast.IdentKind { // a bare truth
		return c.compare(e, "==", types.True, e)
	}
	if e.Kind() != ast.CallKind {
		return nil, c.fail(e, "want a comparison of one fact with one constant, or such comparisons joined by &&, || and !")
	}
	call := e.AsCall()
	if op, ok := joins[call.FunctionName()]; ok {
		left, err := c.node(call.Args()[0])
		if err != nil {
			return nil, err
		}
		right, err := c.node(call.Args()[1])
		if err != nil {
			return nil, err
		}
		return &node{op: op, left: left, right: right}, nil
	}
	if call.FunctionName() == "!_" {
		inner, err := c.node(call.Args()[0])
		if err != nil {
			return nil, err
		}
		return &node{op: opNot, left: inner}, nil
	}
	cmp, ok := compares[call.FunctionName()]
	if !ok {
		return nil, c.fail(e, "%s is not allowed: only comparisons of one fact with one constant, joined by &&, || and !", call.FunctionName())
	}
	a, b := call.Args()[0], call.Args()[1]
	if a.Kind() == ast.LiteralKind && b.Kind() == ast.IdentKind {
		a, b, cmp = b, a, mirrored[cmp]
	}
	if a.Kind() != ast.IdentKind || b.Kind() != ast.LiteralKind {
		return nil, c.fail(e, "compares something other than one fact with one constant")
	}
	return c.compare(a, cmp, b.AsLiteral(), b)
}

func (c compiler) compare(fact ast.Expr, cmp string, lit any, at ast.Expr) (*node, error) {
	i := c.v.index[fact.AsIdent()]
	d := c.v.defs[i]
	n := &node{op: opCompare, fact: i, cmp: cmp, household: d.household}
	if d.kind != number && cmp != "==" && cmp != "!=" {
		return nil, c.fail(at, "%s has no order: compare it with == or !=", d.name)
	}
	switch l := lit.(type) {
	case types.Bool:
		if l {
			n.value = 1
		}
	case types.Int:
		n.value = int64(l)
		if n.value < d.min || n.value > d.max {
			return nil, c.fail(at, "%s is compared with %d, its values go from %d to %d", d.name, n.value, d.min, d.max)
		}
	case types.String:
		w, ok := d.wordIndex(string(l))
		if !ok {
			return nil, c.fail(at, "%s is never %q, its words are %q", d.name, string(l), d.words)
		}
		n.value = w
	default:
		return nil, c.fail(at, "constant of a kind that no fact has")
	}
	return n, nil
}

// eval returns whether the condition may hold and whether it certainly does.
func (n *node) eval(vs *values) (may, must bool) {
	switch n.op {
	case opAnd:
		m1, s1 := n.left.eval(vs)
		if !m1 {
			return false, false
		}
		m2, s2 := n.right.eval(vs)
		return m2, s1 && s2
	case opOr:
		m1, s1 := n.left.eval(vs)
		if s1 {
			return true, true
		}
		m2, s2 := n.right.eval(vs)
		return m1 || m2, s2
	case opNot:
		m, s := n.left.eval(vs)
		return !s, !m
	}
	if !vs.known[n.fact] {
		return n.household, false
	}
	v, is := vs.v[n.fact], false
	switch n.cmp {
	case "==":
		is = v == n.value
	case "!=":
		is = v != n.value
	case "<":
		is = v < n.value
	case "<=":
		is = v <= n.value
	case ">":
		is = v > n.value
	case ">=":
		is = v >= n.value
	}
	return is, is
}
