package outbox

func children() map[string]func(arg string) error {
	return map[string]func(string) error{"OUTBOX_TEST_CUT": cutChild, "OUTBOX_TEST_FILL": fileLimitChild}
}
