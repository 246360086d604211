/* libmodbus at one end of a serial line or of a Modbus TCP connection.
 *
 * libmodbus_peer serve PORT UNIT    answers as UNIT, with the tables given on standard input
 * libmodbus_peer ask PORT UNIT      asks UNIT what standard input says, and prints what came
 *
 * PORT is a serial port (9600 baud, no parity: a pseudo-terminal has none) or ADDRESS:PORT.
 * Lines of standard input:
 *   serve: TABLE ADDRESS VALUE      until an empty line or the end; prints "ready" then
 *   ask:   read TABLE ADDRESS COUNT
 *          write TABLE ADDRESS VALUE          (functions 05 and 06)
 *          write-many TABLE ADDRESS VALUE ... (functions 15 and 16)
 * TABLE is coil, discrete, holding or input. An answer is one line: the values, "ok",
 * "exception N", or "failed: why".
 */
#include <errno.h>
#include <modbus/modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TABLE_SIZE = 64, MOST = 125 };

static modbus_t *open_line(const char *port, int unit)
{
    char address[64];
    const char *colon = strrchr(port, ':');
    modbus_t *line;

    if (colon) {
        snprintf(address, sizeof address, "%.*s", (int)(colon - port), port);
        line = modbus_new_tcp(address, atoi(colon + 1));
    } else {
        line = modbus_new_rtu(port, 9600, 'N', 8, 1);
    }
    if (!line || modbus_set_slave(line, unit) || modbus_set_response_timeout(line, 1, 0)
        || modbus_connect(line)) {
        fprintf(stderr, "%s: %s\n", port, modbus_strerror(errno));
        exit(1);
    }
    return line;
}

static void fill(modbus_mapping_t *tables)
{
    char row[64], table[16];
    int address, value;

    while (fgets(row, sizeof row, stdin) && sscanf(row, "%15s %d %d", table, &address, &value) == 3) {
        if (address < 0 || address >= TABLE_SIZE) {
            fprintf(stderr, "no room for address %d\n", address);
            exit(1);
        }
        if (!strcmp(table, "coil"))
            tables->tab_bits[address] = value;
        else if (!strcmp(table, "discrete"))
            tables->tab_input_bits[address] = value;
        else if (!strcmp(table, "holding"))
            tables->tab_registers[address] = value;
        else
            tables->tab_input_registers[address] = value;
    }
}

static int serve(modbus_t *line)
{
    uint8_t request[MODBUS_MAX_ADU_LENGTH];
    modbus_mapping_t *tables = modbus_mapping_new(TABLE_SIZE, TABLE_SIZE, TABLE_SIZE, TABLE_SIZE);

    if (!tables)
        return 1;
    fill(tables);
    puts("ready");
    fflush(stdout);
    for (;;) {
        int length = modbus_receive(line, request);
        if (length > 0)
            modbus_reply(line, request, length, tables);
        else if (length < 0)
            modbus_flush(line);
    }
}

static void print_outcome(int result)
{
    if (result >= 0)
        puts("ok");
    else if (errno > MODBUS_ENOBASE && errno < MODBUS_ENOBASE + MODBUS_EXCEPTION_MAX)
        printf("exception %d\n", errno - MODBUS_ENOBASE);
    else
        printf("failed: %s\n", modbus_strerror(errno));
}

static void read_table(modbus_t *line, const char *table, int address, int count)
{
    uint16_t words[MOST];
    uint8_t bits[MOST];
    int are_bits = !strcmp(table, "coil") || !strcmp(table, "discrete");
    int result;

    if (!strcmp(table, "coil"))
        result = modbus_read_bits(line, address, count, bits);
    else if (!strcmp(table, "discrete"))
        result = modbus_read_input_bits(line, address, count, bits);
    else if (!strcmp(table, "holding"))
        result = modbus_read_registers(line, address, count, words);
    else
        result = modbus_read_input_registers(line, address, count, words);
    if (result < 0) {
        print_outcome(result);
        return;
    }
    for (int n = 0; n < count; n++)
        printf("%s%d", n ? " " : "", are_bits ? bits[n] : words[n]);
    puts("");
}

static int write_table(modbus_t *line, const char *table, int address, char *values, int many)
{
    uint16_t words[MOST];
    uint8_t bits[MOST];
    int count = 0;

    for (char *word = strtok(values, " \n"); word && count < MOST; word = strtok(NULL, " \n")) {
        words[count] = atoi(word);
        bits[count] = atoi(word);
        count++;
    }
    if (!strcmp(table, "coil"))
        return many ? modbus_write_bits(line, address, count, bits)
                    : modbus_write_bit(line, address, bits[0]);
    return many ? modbus_write_registers(line, address, count, words)
                : modbus_write_register(line, address, words[0]);
}

static int ask(modbus_t *line)
{
    char row[1024], what[16], table[16];
    int address, values_at;

    while (fgets(row, sizeof row, stdin)) {
        if (sscanf(row, "%15s %15s %d %n", what, table, &address, &values_at) != 3)
            puts("failed: not understood");
        else if (!strcmp(what, "read"))
            read_table(line, table, address, atoi(row + values_at));
        else
            print_outcome(write_table(line, table, address, row + values_at, !strcmp(what, "write-many")));
        fflush(stdout);
    }
    return 0;
}

int main(int argc, char **argv)
{
    if (argc != 4) {
        fprintf(stderr, "usage: libmodbus_peer serve|ask PORT UNIT\n");
        return 2;
    }
    modbus_t *line = open_line(argv[2], atoi(argv[3]));
    return strcmp(argv[1], "serve") ? ask(line) : serve(line);
}
