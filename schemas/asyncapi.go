package schemas

// AsyncAPI is the AsyncAPI 3.0.0 document of the hub: the channels on which it
// takes events, the one on which it says what the book holds, and those of
// enrolment and of the tablets' packets.
func AsyncAPI() []byte {
	raw, err := generated.ReadFile("asyncapi.json")
	if err != nil {
		panic("schemas: " + err.Error()) // go:embed has put it there
	}
	return raw
}

func asyncAPI() node {
	channels, operations, messages, payloads := node{}, node{}, node{}, node{}
	for _, t := range Types() {
		name := string(t.Type)
		payloads[name] = eventSchema(t, draft07)
		messages[name] = node{
			"name": name, "summary": t.Doc, "contentType": ContentType,
			"headers": ref("schemas", "headers"),
			"payload": ref("schemas", name),
		}
		channels[name] = channel(EventSubject("{contractor}", "{device}", t.Type), name, t.Doc)
		operations["receive."+name] = operation("receive", name, "The hub books the event: "+t.Doc)
	}
	payloads["headers"], payloads["mark"] = headersSchema(), markSchema()
	messages["mark"] = node{
		"name": "mark", "summary": "What the book holds of one source.",
		"contentType": "application/json", "payload": ref("schemas", "mark"),
	}
	channels["marks"] = channel(MarksSubject("{contractor}", "{device}"), "mark",
		"After each commit: up to which sequence the book holds everything of a source.")
	operations["send.marks"] = operation("send", "marks", "The hub says what is booked; a tablet may forget it then.")
	addExchanges(channels, operations, messages, payloads)
	return node{
		"asyncapi": "3.0.0",
		"info": node{
			"title": "hopperbook hub", "version": "1.0.0",
			"description": "Events are CloudEvents 1.0 in structured mode. (source, sequence) identifies an event; sequence counts 1, 2, ... without a gap for each source.",
		},
		"defaultContentType": ContentType,
		"channels":           channels,
		"operations":         operations,
		"components": node{
			"messages": messages, "schemas": payloads,
			"parameters": node{
				"contractor": node{"description": "The contractor's name: " + formatHelp("token") + "."},
				"device":     node{"description": "The device's name, or _office or _files: " + formatHelp("token") + "."},
			},
		},
	}
}

func ref(kind, name string) node { return node{"$ref": "#/components/" + kind + "/" + name} }

func channel(address, message, doc string) node {
	return node{
		"address": address, "description": doc,
		"messages":   node{message: ref("messages", message)},
		"parameters": node{"contractor": ref("parameters", "contractor"), "device": ref("parameters", "device")},
	}
}

func operation(action, name, doc string) node {
	return node{"action": action, "channel": node{"$ref": "#/channels/" + name}, "summary": doc}
}

func headersSchema() node {
	return node{
		"type": "object", "required": []string{HeaderMsgID, HeaderContentType},
		"properties": node{
			HeaderMsgID:       node{"type": "string", "description": "the event's identity: source#sequence"},
			HeaderContentType: node{"const": ContentType},
		},
	}
}

// markSchema is the schema of Mark.
func markSchema() node {
	count := node{"type": "integer", "minimum": 0}
	return node{
		"type": "object", "required": []string{"source", "up_to"},
		"properties": node{
			"source": node{"type": "string", "pattern": sourcePattern},
			"up_to":  node{"type": "integer", "minimum": 0, "description": "the book holds every event up to this sequence"},
			"above": node{
				"type": "array", "description": "ranges above up_to that the book holds, both ends included",
				"items": node{"type": "array", "minItems": 2, "maxItems": 2, "items": count},
			},
		},
	}
}
