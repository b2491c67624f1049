// Package rehearse is a workshop in the computer: dented panels whose metal is not what the planner thinks, hands that miss, and a
// measurement after each round, so that measure - plan - hits - measure closes. For tests, comparisons and practice.
//
// It is independent of the planner's own bench: the metal here has its own hardness, its own field about a hit and its own crown; a hit
// is worked to the height under the tool that the plan asks for, whatever that leaves behind. The seed decides everything.
package rehearse
