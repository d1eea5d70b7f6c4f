/* Opens an adapter over USB and asks who it is; for link_cases.sh.
 *
 *   usb_probe [SERIAL]      prints "usb:SERIAL" and ends with 0, or the error and its status */
#include "adapter/usb_link.h"

#include <stdio.h>

int main(int argc, char **argv)
{
    struct link link;
    struct err_msg e = {0};
    if (usb_link_open(argc > 1 ? argv[1] : NULL, &link, &e) != ERR_OK) {
        printf("%s\n", e.text);
        return err_exit_status(e.code);
    }
    printf("%s\n", link.name);
    link_close(&link);
    return 0;
}
