/* SPDX-License-Identifier: Apache-2.0 */
/* The real serial ports of this computer, described. */
#include "fettle/port.h"
#include "verbs.h"

static int print_json(struct cli *c, const struct ft_port_info *list, size_t n)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	cli_document(c, &j, &out, FT_SHOWN, NULL);
	ft_json_array(&j, "ports");
	for (size_t i = 0; i < n; i++) {
		ft_json_object(&j, NULL);
		ft_json_text(&j, "path", list[i].path);
		ft_json_text(&j, "description", list[i].description);
		ft_json_text(&j, "kind", list[i].kind);
		ft_json_text(&j, "serial", list[i].serial);
		ft_json_count(&j, "usb_vendor", list[i].usb_vendor < 0 ? FT_ABSENT : list[i].usb_vendor);
		ft_json_count(&j, "usb_product", list[i].usb_product < 0 ? FT_ABSENT : list[i].usb_product);
		ft_json_object_end(&j);
	}
	ft_json_array_end(&j);
	return cli_document_end(c, &j);
}

static int run(struct cli *c)
{
	struct ft_port_info *list;
	size_t n;

	if (ft_port_list(&c->arena, &list, &n, &c->error) != FT_OK)
		return cli_failed(c);
	if (c->json)
		return print_json(c, list, n);
	if (n == 0)
		puts("This computer has no serial port now. Plug the adapter in and ask again.");
	for (size_t i = 0; i < n; i++)
		printf("%-16s %-10s %s%s%s\n", list[i].path, list[i].kind, list[i].description ? list[i].description : "",
		       list[i].serial ? ", serial " : "", list[i].serial ? list[i].serial : "");
	return FT_OK;
}

const struct cli_verb verb_ports = {
	.name = "ports",
	.arguments = "",
	.summary = "the serial ports of this computer",
	.about =
		"Lists real serial ports with what the system knows of each. Practice ports are told by fettle practice itself.",
	.run = run,
};
