package main

import (
	"slices"
	"strings"

	"github.com/urfave/cli/v2"
)

// flagsFirst moves the flags of a command line in front of its positional
// arguments, because the flag library stops at the first positional and would
// take "publish day.jsonl --json" to mean a file named --json.
func flagsFirst(app *cli.App, args []string) []string {
	if len(args) < 2 {
		return args
	}
	path, rest := args[:1], args[1:]
	commands := app.Commands
	var flags []cli.Flag
	for len(rest) > 0 {
		i := slices.IndexFunc(commands, func(c *cli.Command) bool { return c.HasName(rest[0]) })
		if i < 0 {
			break
		}
		flags, commands = commands[i].Flags, commands[i].Subcommands
		path, rest = append(slices.Clone(path), rest[0]), rest[1:]
	}
	var front, back []string
	for i := 0; i < len(rest); i++ {
		arg := rest[i]
		switch {
		case arg == "--":
			return slices.Concat(path, front, []string{"--"}, back, rest[i+1:])
		case arg == "-" || !strings.HasPrefix(arg, "-"):
			back = append(back, arg)
		default:
			front = append(front, arg)
			if takesValue(flags, arg) && i+1 < len(rest) {
				i++
				front = append(front, rest[i])
			}
		}
	}
	if len(back) == 0 {
		return slices.Concat(path, front)
	}
	return slices.Concat(path, front, []string{"--"}, back)
}

// takesValue reports whether the flag stands with its value in the next
// argument.
func takesValue(flags []cli.Flag, arg string) bool {
	name := strings.TrimLeft(arg, "-")
	if strings.Contains(name, "=") {
		return false
	}
	i := slices.IndexFunc(flags, func(f cli.Flag) bool { return slices.Contains(f.Names(), name) })
	if i < 0 {
		return false
	}
	_, isBool := flags[i].(*cli.BoolFlag)
	return !isBool
}
