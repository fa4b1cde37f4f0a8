/* SPDX-License-Identifier: Apache-2.0 */
/* The serial ports of this computer, through libserialport, which is used for nothing else: it
 * refuses pseudo-terminals. */
#include <libserialport.h>
#include <stdlib.h>
#include <string.h>

#include "fettle/arena.h"
#include "fettle/port.h"

static const char *kind_word(enum sp_transport t)
{
	return t == SP_TRANSPORT_USB ? "usb" : t == SP_TRANSPORT_BLUETOOTH ? "bluetooth" : "native";
}

static const char *keep(struct ft_arena *a, const char *text)
{
	return text && *text ? ft_arena_text(a, ft_slice_of(text)) : NULL;
}

static void describe(struct ft_arena *a, struct sp_port *port, struct ft_port_info *ret)
{
	enum sp_transport t = sp_get_port_transport(port);

	ret->path = keep(a, sp_get_port_name(port));
	ret->description = keep(a, sp_get_port_description(port));
	ret->kind = kind_word(t);
	ret->usb_vendor = ret->usb_product = -1;
	if (t == SP_TRANSPORT_USB) {
		ret->serial = keep(a, sp_get_port_usb_serial(port));
		if (sp_get_port_usb_vid_pid(port, &ret->usb_vendor, &ret->usb_product) != SP_OK)
			ret->usb_vendor = ret->usb_product = -1;
	}
}

static int by_path(const void *a, const void *b)
{
	const struct ft_port_info *x = a;
	const struct ft_port_info *y = b;

	return strcmp(x->path, y->path);
}

enum ft_status ft_port_list(struct ft_arena *a, struct ft_port_info **ret, size_t *ret_count, struct ft_error *e)
{
	struct ft_port_info *list;
	struct sp_port **ports;
	size_t count = 0;

	if (sp_list_ports(&ports) != SP_OK)
		return ft_fail(e, FT_E_LINE,
		               "This computer does not tell which serial ports it has; name the port yourself, "
		               "usually /dev/ttyUSB0 or /dev/ttyACM0.");
	while (ports[count])
		count++;
	list = FT_NEW_ARRAY(a, count + 1, struct ft_port_info);
	for (size_t i = 0; list && i < count; i++)
		describe(a, ports[i], &list[i]);
	sp_free_port_list(ports);
	if (!list || a->failed)
		return ft_fail_memory(e, "listing the ports");
	qsort(list, count, sizeof *list, by_path);
	*ret = list;
	*ret_count = count;
	return FT_OK;
}
