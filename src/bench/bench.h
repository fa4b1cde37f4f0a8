/* SPDX-License-Identifier: Apache-2.0 */
/* Inside the bench: one loop that owns the sockets, the children and the folder they work in. */
#ifndef FETTLE_BENCH_BENCH_H
#define FETTLE_BENCH_BENCH_H

#include <microhttpd.h>
#include <netinet/in.h>
#include <sys/types.h>

#include "fettle/arena.h"
#include "fettle/bench.h"
#include "fettle/json.h"
#include "fettle/store.h"

enum {
	LINKS_MAX = 1000,   /* connections at once */
	LINKS_EACH = 250,   /* from one address, where we listen on a network: one computer shall not shut the others out */
	LINKS_CROWD = 400,  /* beyond this, those at rest are sent away sooner */
	STREAMS_MAX = 64,   /* of events; each browser window holds one */
	CHILDREN_MAX = 4,   /* commands at once: two cores, and a core to wait for the disk */
	ERRANDS_MAX = 64,   /* commands waiting */
	FIELDS_MAX = 20,    /* of one request */
	WORDS_MAX = 64,     /* of one command line */
	PARTS_MAX = 4,      /* of one path */
	WRONG_KEPT = 64,    /* of the latest wrong codes */
	HEADERS_MAX = 8,    /* of one answer, beside the usual ones */
	HEAD_BYTES = 16384, /* of a request, all its headers */
	BODY_FIELDS_MAX = 64 << 10,
};

#define SECOND         INT64_C(1000000)
#define HEAD_US        (10 * SECOND)
#define REST_US        (30 * SECOND)
#define CROWD_US       (5 * SECOND)
#define BODY_FREE_US   (10 * SECOND) /* before the rate counts */
#define BODY_RATE      8192          /* bytes a second at least */
#define COMMAND_US     (60 * SECOND)
#define COMMAND_MEMORY (INT64_C(1) << 30)
#define COMMAND_OUTPUT (INT64_C(256) << 20)

struct bench;
struct request;

/* ---- links: the connections, and how long each may take (link.c) ---- */

enum link_phase { LINK_HEAD, LINK_BODY, LINK_WORK, LINK_ANSWER, LINK_STREAM };

struct link {
	struct link *next, **self;
	int fd;
	enum link_phase phase;
	int64_t since_us;   /* of the phase */
	int64_t bytes;      /* of the body that came; of the answer that is to go */
	bool first;         /* nothing was asked yet */
	struct request *at; /* what it works on; NULL between requests */
};

void link_phase_to(struct bench *b, struct link *l, enum link_phase phase);
/* Shuts those that take too long; returns when to look again. */
int64_t links_look(struct bench *b, int64_t now_us);
void link_notify(void *cls, struct MHD_Connection *c, void **socket_context, enum MHD_ConnectionNotificationCode code);
void links_done(struct bench *b);

/* ---- requests ---- */

struct field {
	const char *name;
	const char *value;
};

struct route;

struct request {
	struct bench *b;
	struct link *link;
	struct MHD_Connection *connection;
	const struct route *route;
	const char *method, *path;    /* in the arena */
	struct field part[PARTS_MAX]; /* of the path: {visit} (the name is where it stands in the pattern), its value */
	int part_count;
	struct field query[FIELDS_MAX], body[FIELDS_MAX];
	int query_count, body_count;
	const char *list[FIELDS_MAX]; /* the one field that may be a list of texts */
	int list_count;
	struct ft_buf text; /* body of fields or of a draft */
	int file;           /* body of bytes, on its way to the disk; -1 */
	char *file_path;
	int64_t browser;  /* number of the paired browser; 0: none is needed */
	const char *page; /* X-Fettle-Page */
	int64_t body_bytes;
	struct field headers[HEADERS_MAX]; /* of the answer */
	int header_count;
	bool whole, suspended, answered, streams;
	struct errand *errand;  /* while a child works for it */
	struct machine *starts; /* the practice machine whose first line it waits for */
	struct MHD_Response *response;
	unsigned status;
	struct ft_arena arena;
};

/* Queues on the next turn whatever was made; one of these ends every request. */
void answer_json(struct request *r, unsigned status, struct ft_buf *json); /* empties json */
void answer_error(struct request *r, unsigned status, const char *format, ...) __attribute__((format(printf, 3, 4)));
void answer_failure(struct request *r, const struct ft_error *e);                            /* the status of e */
void answer_fd(struct request *r, unsigned status, int fd, int64_t bytes, const char *type); /* takes the fd */
void answer_header(struct request *r, const char *name, const char *value);
unsigned status_of_exit(int code);
void answer_ready(struct request *r); /* wakes the connection if it slept */

/* The body as a JSON object of our own: begin, put keys, end. */
void document_begin(struct ft_json *j, struct ft_buf *out);
void document_end(struct ft_json *j);

void answer_stream(struct request *r, MHD_ContentReaderCallback reader, void *cls, MHD_ContentReaderFreeCallback end);
void answer_bytes(struct request *r, unsigned status, const void *p, size_t n, const char *type);

const char *request_header(const struct request *r, const char *name);
const char *request_query(const struct request *r, const char *name); /* NULL: not given */
const char *request_field(const struct request *r, const char *name);
const char *request_part(const struct request *r, const char *name);
/* Id of the visit of the path or of the field `visit`; NULL: answered already. */
const char *request_visit(struct request *r);
bool percent_decoded(struct ft_arena *a, struct ft_slice text, const char **ret);
bool request_number(struct request *r, const char *name, const char *text, int64_t least, int64_t most, int64_t *ret);

/* request.c: what libmicrohttpd calls */
enum MHD_Result request_access(void *cls, struct MHD_Connection *c, const char *url, const char *method,
                               const char *version, const char *data, size_t *size, void **con_cls);
void request_completed(void *cls, struct MHD_Connection *c, void **con_cls, enum MHD_RequestTerminationCode why);

/* body.c: fields of a JSON object; false: answered already */
bool body_fields(struct request *r);

/* gate.c: who may ask. False: answered already. */
bool gate_host(struct request *r);
bool gate_origin(struct request *r);
bool gate_cookie(struct request *r);
int64_t gate_browser(struct request *r); /* number of the paired browser that asks; 0: none */
bool host_good(const struct bench *b, struct ft_slice host);

/* ---- routes (routes.c, tables; see there) ---- */

enum body { BODY_NONE, BODY_FIELDS, BODY_TEXT, BODY_BYTES };

enum answer {
	ANSWER_OWN,      /* `run` does it */
	ANSWER_DOCUMENT, /* what the child prints */
	ANSWER_LINES,
	ANSWER_TEXT, /* text/csv */
	ANSWER_FILE, /* the file `out` that the child wrote */
};

enum parameter_kind {
	P_TEXT,   /* anything in UTF-8 without control characters */
	P_WORD,   /* letters, digits and . _ : , + - */
	P_NUMBER, /* digits with sign and point */
	P_FLAG,   /* true, 1; false, 0: not given */
	P_PIECE,  /* number of a piece of evidence of {visit}: becomes its file */
	P_AUDIT,  /* name of an audit below the folder that is watched: becomes its file */
	P_REPEAT, /* P_WORD that may be given several times */
	P_LIST,   /* handled by `run` */
};

struct parameter {
	const char *name;
	const char *option; /* "--by"; NULL: stands in `words` as {name}, and must be given */
	enum parameter_kind kind;
};

struct route {
	const char *method, *path;
	enum body body;
	enum answer answer;
	const char *words[10];                     /* of the command; {x} is replaced, "?" stands for the options */
	const struct parameter *parameters;        /* ends with a name of NULL */
	const char *out, *type;                    /* ANSWER_FILE: name and media type */
	void (*run)(struct request *r);            /* ANSWER_OWN */
	void (*after)(struct errand *x, int code); /* in place of errand_answer; NULL: that */
	unsigned made;                             /* status when all went well; 0: 200 */
	bool open;                                 /* may be asked without the cookie */
	bool cached;                               /* hangs on evidence alone */
	bool writes;                               /* a GET whose child writes the book all the same */
	int64_t most;                              /* BODY_BYTES: bound of its body; 0: that of evidence */
};

/* Finds the route; else answers 404 or 405. */
const struct route *route_find(struct request *r);
void route_run(struct request *r);
extern const struct route routes_visits[], routes_looks[], routes_jobs[], routes_desk[],
	routes_office[]; /* end with method NULL */

/* command.c: a route's command as an errand */
void command_run(struct request *r);
const struct parameter *parameter_of(const struct route *t, const char *name);
bool parameter_good(const struct parameter *p, const char *value);

/* ---- children (child.c) ---- */

struct child {
	pid_t pid;
	int pidfd;
	int64_t until_us; /* 0: no end is set */
	bool told, killed, late;
};

struct child_setup {
	const char *const *argv;
	const char *folder; /* where it works */
	int in, out, err;   /* -1: nothing */
	bool lasting;       /* no bound on its time and memory: it is told to end */
	bool writes_book;
};

enum ft_status child_start(const struct bench *b, const struct child_setup *s, struct child *ret, struct ft_error *e);
/* True: it has ended, *ret_code is its exit code, -1 when a signal ended it. */
bool child_ended(struct child *c, int *ret_code);
void child_tell(struct child *c); /* SIGTERM to it and its own children, once */
void child_kill(struct child *c); /* SIGKILL */
void child_wait(struct child *c); /* kills and collects it */

/* ---- errands: one command after another for one request (errand.c) ---- */

enum { ERRAND_STEPS = 6 };

struct errand {
	struct errand *next;
	struct request *request; /* NULL: whoever asked has gone, or it was asked by the bench itself */
	int64_t id;
	char *folder;
	struct step {
		const char *words[WORDS_MAX];
		char *cache; /* the step fetches a piece into this file and is passed over where it is there */
		char *link;  /* name under which the file of `cache` stands in the folder */
	} steps[ERRAND_STEPS];
	int step_count, step_at;
	int out; /* standard output of the step, a file without a name */
	struct child child;
	bool running, writes_book;
	int audit_count;   /* taken from the folder that is watched */
	struct ft_buf tag; /* hashes of the pieces fetched, part of the ETag */
	void *context;     /* of `done`; not NULL: it is wanted though no request waits */
	/* Called with the exit code of the last step (-1: killed, -2: late) when all is over; owns nothing. */
	void (*done)(struct errand *x, int code);
	struct ft_arena arena;
};

/* Made empty, with a folder of its own; NULL: answered already. */
struct errand *errand_new(struct request *r);
enum ft_status errand_make(struct bench *b, struct errand **ret, struct ft_error *e);
/* Adds a step that has the piece ready under a name in the folder, which it returns; NULL with e filled. */
const char *errand_fetch(struct bench *b, struct errand *x, const char *visit, int64_t number, struct ft_error *e);
struct step *errand_step(struct errand *x);
struct errand *errand_free(struct errand *x);        /* of one that was not sent; returns NULL */
void errand_send(struct bench *b, struct errand *x); /* to the queue; the bench owns it from here */
void errand_drop(struct bench *b, struct errand *x); /* whoever asked has gone: kills it */
void errands_turn(struct bench *b, int64_t now_us);
void errands_done(struct bench *b);
/* The file, with its type and bytes, that the step printed into; for an answer. */
void errand_answer(struct errand *x, int code);

/* ---- the folder (desk.c) ---- */

enum ft_status desk_make(struct bench *b, struct ft_error *e);
void desk_done(struct bench *b);
void remove_tree(const char *path);
/* A file without a name in the desk; -1. */
int desk_scratch(const struct bench *b);
/* A name that may stand in a folder of ours and on a command line. */
char *plain_name(struct ft_arena *a, const char *name, const char *otherwise);
bool name_plain(const char *name);
/* Keeps the kept pieces below their bound. */
void desk_trim(struct bench *b);

/* ---- events (events.c) ---- */

void event_put(struct bench *b, const char *kind, struct ft_slice data);
void event_text(struct bench *b, const char *kind, const char *data);
void events_turn(struct bench *b, int64_t now_us); /* heartbeats, changes of the book by others */
void events_stream(struct request *r);
void events_cut(struct bench *b, int64_t browser); /* it is paired no more */
void events_done(struct bench *b);
void events_stop(struct bench *b);                          /* wakes the streams so that they can end */
void events_gone(struct bench *b, const struct request *r); /* whoever listened there has gone */

/* ---- pairing (pair.c) ---- */

void pair_setup(struct bench *b);
void pair_door(struct bench *b, bool anew);
void pair_bench(struct request *r);
void pair_enter(struct request *r);
void pair_list(struct request *r);
void pair_code(struct request *r);
void pair_revoke(struct request *r);

/* ---- drafts (drafts.c) ---- */

void draft_list(struct request *r);
void draft_get(struct request *r);
void draft_put(struct request *r);
void draft_drop(struct request *r);

/* ---- the office: its tables, the audits that are watched (office.c) ---- */

#define TABLE_BYTES_MAX (INT64_C(16) << 20) /* ours: a survey of 100,000 machines */

void table_list(struct request *r);
void table_get(struct request *r);
void table_put(struct request *r);
void table_drop(struct request *r);
/* Lays the tables out in the errand's folder; the survey's file; NULL: answered already. */
const char *office_survey(struct request *r, struct errand *x);
/* The folder that is watched, with the options of the tables that lie beside it; room for 4. NULL: answered already. */
const char *office_watched(struct request *r, struct errand *x, const char *options[], int *ret_count);
/* A copy of one audit of that folder, by its name in the errand's; NULL: answered already. */
const char *office_audit(struct request *r, struct errand *x, const char *name);

/* ---- pages (pages.c) ---- */

void page_get(struct request *r);

/* ---- evidence, packages ---- */

void evidence_bytes(struct request *r);
void evidence_add(struct request *r);

void package_packed(struct errand *x, int code);
/* A file of ours, as bytes of others: shown when it is a picture, else to be kept under this name. */
void answer_kept(struct request *r, const char *path, const char *name);

/* ---- listening (listen.c) ---- */

enum ft_status listen_at(struct bench *b, int *ret, struct ft_error *e);

/* ---- jobs (jobs.c) ---- */

struct waits;
void wait_for(struct waits *w, int fd);
void wait_until(struct waits *w, int64_t at_us);
void jobs_wait(struct bench *b, struct waits *w);
void jobs_turn(struct bench *b, int64_t now_us);
void jobs_done(struct bench *b);
void machine_left(struct request *r);

/* ---- the whole ---- */

#define EVENTS_KEPT 1024

struct event {
	int64_t id;
	char *text; /* as it goes over the line, owned */
	size_t n;
};

struct pairing {
	bool wanted;
	char code[12];  /* "" : none */
	char extra[12]; /* made from a paired browser */
	int64_t extra_until_us;
	int wrong_of_code;
	struct {
		struct sockaddr_storage from;
		int64_t at_us;
	} wrong[WRONG_KEPT]; /* the latest wrong codes */
	int wrong_at;
};

struct bench {
	const struct ft_bench_settings *s;
	struct ft_book *book;
	const char *book_path; /* absolute */
	const char *program;
	char *tables; /* folder of the office's tables, absolute; NULL: there is none */
	char *audits; /* folder that is watched, absolute; NULL: none was named */
	struct MHD_Daemon *daemon;
	struct sockaddr_storage address;
	int port;
	bool loopback, any; /* any: listens on all addresses */
	char host[128];     /* "127.0.0.1:7437" */
	char url[160];
	char *desk;
	int desk_lock;
	char stamp[32]; /* of the program, part of every ETag */
	struct link *links;
	int link_count;
	struct errand *waiting, **waiting_end, *running;
	int waiting_count, running_count;
	int64_t errand_id;
	bool in_errands;
	struct event events[EVENTS_KEPT];
	int64_t event_id; /* the next one's */
	char epoch[12];   /* of this run, in front of each id */
	struct stream *streams;
	int stream_count;
	int64_t turn, changed_us, looked_us; /* of the book */
	struct read *reads;                  /* reads.c */
	struct machine *machines;            /* machines.c */
	int64_t job_id;
	struct pairing pairing;
	struct ft_arena scratch; /* emptied every turn */
	bool stopping;
};

int64_t bench_now(void);                     /* monotonic, us */
int64_t bench_wall(int *ret_offset_minutes); /* as of the book */

#endif
